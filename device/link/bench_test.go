package link

import (
	"context"
	"testing"
	"time"

	"witnessmark/device"
	"witnessmark/device/frame"
	"witnessmark/device/memory"
	"witnessmark/device/port"
	"witnessmark/device/unit"
)

// loop is a port that gives one pull after the other, each once the one before is acknowledged.
type loop struct {
	lines [][]byte
	next  int
	acked chan struct{}
}

func (p *loop) Read(b []byte) (int, error) {
	if p.next == len(p.lines) {
		return 0, port.ErrUnplugged
	}
	if p.next > 0 {
		<-p.acked
	}
	p.next++
	return copy(b, p.lines[p.next-1]), nil
}

func (p *loop) Write(b []byte) (int, error) { p.acked <- struct{}{}; return len(b), nil }
func (p *loop) Close() error                { return nil }

// instant counts readings and keeps nothing.
type instant struct{ came uint64 }

func (i *instant) Reading(context.Context, device.Reading, time.Time) (uint64, error) {
	i.came++
	return i.came, nil
}

func (*instant) Refusal(context.Context, device.Refusal) error { return nil }

// BenchmarkLink_BytesToAcknowledgement is what the link itself costs a reading of a wrench with a long history:
// everything but port and disk.
func BenchmarkLink_BytesToAcknowledgement(b *testing.B) {
	f := form(b)
	p := &loop{acked: make(chan struct{}, 1)}
	for n := int64(1); n <= int64(b.N+memory.Depth); n++ {
		p.lines = append(p.lines, f.Encode(device.Reading{Torque: 40 * unit.NewtonMetre, Unit: unit.Nm, Direction: device.Tighten, Counter: &n, Clock: "09:41:07"}))
	}
	k := newKeeper(Link{Wrench: "TW-01", Profile: f, Sink: &instant{came: memory.Depth}})
	for n, line := range p.lines[:memory.Depth] {
		k.Memory.Keep(uint64(n)+1, *f.Decode("TW-01", frame.Frame{Bytes: line}).Reading)
	}
	p.lines = p.lines[memory.Depth:]
	b.ReportAllocs()
	b.ResetTimer()
	if _, lost, err := newTalk(k, p).hold(b.Context(), b.Context()); lost == nil || err != nil {
		b.Fatal(lost, err)
	}
}
