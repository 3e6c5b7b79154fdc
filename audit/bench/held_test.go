package bench_test

import (
	"fmt"
	"runtime"
	"strings"
	"testing"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/device"
	"witnessmark/device/unit"
)

// head is a joint of 24 fasteners in 5 stages.
func head() string {
	var b strings.Builder
	b.WriteString("format: witnessmark/procedure/1\nfamily: TT-2\nrevision: \"1\"\ntitle: Head\nsource: invented for this test\ndecision: simple\njoints:\n" +
		"  - id: head\n    title: Head\n    criticality: B\n    round: stage\n    order: listed\n    fasteners:\n")
	for i := range 24 {
		fmt.Fprintf(&b, "      - {id: \"%d\"}\n", i+1)
	}
	b.WriteString("    stages:\n      - {id: snug, tighten_to: 30 N·m, accept: ±10 %}\n      - {id: seat, tighten_to: 60 N·m, accept: ±10 %}\n" +
		"      - {id: full, tighten_to: 90 N·m, accept: ±10 %}\n      - {id: turn-1, turn_by: 60°, accept: ±6°}\n      - {id: turn-2, turn_by: 60°, accept: ±6°}\n")
	return b.String()
}

// hall is a shop in which many benches do the same joint.
type hall struct {
	shop *bench.Shop
	seq  uint64
}

func (h *hall) apply(b *testing.B, ev audit.Event) {
	h.seq++
	if out := h.shop.Apply(audit.Entry{Seq: h.seq, At: start.Add(time.Duration(h.seq) * time.Second), Event: ev}); out.Refused != "" {
		b.Fatal(out.Refused)
	}
}

// begin puts the joint on a bench.
func (h *hall) begin(b *testing.B, at string) {
	h.apply(b, audit.BuildOpened{Engine: "E-" + at, Family: "TT-2", Revision: "1", WorkOrder: "1", Person: "p1"})
	h.apply(b, audit.JointStarted{Bench: at, Build: h.seq, Joint: "head", Person: "p1"})
}

// pull is reading k of the joint: 0.8° per N·m from slack, later 0.7°, with a little scatter of bolts and hand.
func (h *hall) pull(b *testing.B, at string, k int) {
	bolt, stage := int64(k%24), k/24
	ease := 1000 + (bolt*37%24-12)*8 // ‰, the bolt's own
	scatter := int64(k*53%41 - 20)   // ‰ of a twentieth
	torque := []int64{30_000, 60_000, 90_000, 90_000 + 36_000*1000/ease, 90_000 + 72_000*1000/ease}[stage]
	torque += torque * scatter / 2000
	angle := unit.Angle([]int64{24_000 * ease / 1000, 21_000 * ease / 1000, 21_000 * ease / 1000, 60_000, 60_000}[stage] + 1500 + scatter*30)
	h.apply(b, audit.ReadingTaken{Bench: at, Reading: device.Reading{Wrench: "W-" + at, Torque: unit.Torque(torque * 1000), TorqueText: "1",
		Unit: unit.Nm, Angle: &angle, Direction: device.Tighten}})
}

// BenchmarkShop_Joint is what a reading costs the shop of 64 benches that all do a joint of 120 readings, and what it holds of
// a bench with one that lacks the last.
func BenchmarkShop_Joint(b *testing.B) {
	const benches, readings = 64, 119
	b.ReportAllocs()
	var held, took float64
	for b.Loop() {
		h := &hall{shop: bench.NewShop(nil)}
		h.apply(b, audit.ProcedureAdded{Family: "TT-2", Revision: "1", Title: "Head", Text: head()})
		h.apply(b, audit.PersonAdded{Person: "p1", Name: "Ines Falk"})
		before := heap()
		began := time.Now()
		for i := range benches {
			at := fmt.Sprint(i)
			h.begin(b, at)
			for k := range readings {
				h.pull(b, at, k)
			}
		}
		took += float64(time.Since(began))
		held += float64(heap() - before)
		runtime.KeepAlive(h)
	}
	b.ReportMetric(held/float64(b.N*benches), "B/joint")
	b.ReportMetric(took/float64(b.N*benches*readings), "ns/reading")
}

// heap is how many bytes are held, with what nobody holds any more collected.
func heap() uint64 {
	runtime.GC()
	runtime.GC()
	var now runtime.MemStats
	runtime.ReadMemStats(&now)
	return now.HeapAlloc
}
