package bench_test

import (
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/device"
	"witnessmark/device/label"
	"witnessmark/device/unit"
)

// twoJoints is a procedure with a second joint whose fasteners have names.
var twoJoints = caps + `  - id: rods
    title: Rods
    criticality: B
    round: stage
    order: listed
    fasteners:
      - {id: ab, at: [0, 0]}
      - {id: AB, at: [80, 0]}
      - {id: b2, at: [0, 60]}
    stages:
      - {id: snug, tighten_to: 30 N·m, accept: ±10 %}
`

func TestScan_Joint(t *testing.T) {
	begin := func(t *testing.T) *floor {
		f := &floor{t: t, shop: bench.NewShop(nil)}
		f.must(audit.ProcedureAdded{Family: "TT-1", Revision: "1", Title: "Bearing caps", Text: twoJoints})
		f.must(audit.PersonAdded{Person: "p1", Name: "Ines Falk"})
		f.must(audit.BadgeGiven{Badge: "b1", Person: "p1", By: "p1"})
		f.scans("badge b1")
		return f
	}
	t.Run("it needs a build", func(t *testing.T) {
		f := begin(t)
		f.refuses(label.Joint, "caps", "scan the engine or its work order first")
		f.scans("engine E1")
		f.refuses(label.Joint, "caps", "scan the engine or its work order first")
	})
	t.Run("it starts the joint of the build in hand, by the person signed in", func(t *testing.T) {
		f := begin(t)
		f.scans("engine E1", "work order W1", "joint caps")
		f.want(f.lies(), "7: E1/W1 caps")
		started := f.log[len(f.log)-1].Event
		if want := (audit.JointStarted{Bench: "B1", Build: 7, Joint: "caps", Person: "p1"}); started != want {
			t.Errorf("got %+v, want %+v", started, want)
		}
		n := len(f.log)
		f.scans("joint caps") // scanned twice
		if len(f.log) != n+1 {
			t.Errorf("got %d entries for a joint scanned twice, want the scan alone", len(f.log)-n)
		}
		f.refuses(label.Joint, "rods", "joint caps of engine E1 is on bench B1: close it first")
	})
	t.Run("capitals will do, as Code 39 has no others", func(t *testing.T) {
		f := begin(t)
		f.scans("engine E1", "work order W1", "joint CAPS")
		f.want(f.lies(), "7: E1/W1 caps")
		f.scans("joint Caps", "fastener 1")
	})
	t.Run("one that the procedure has not is refused", func(t *testing.T) {
		f := begin(t)
		f.scans("engine E1", "work order W1")
		f.refuses(label.Joint, "head", `has no joint "head"; it has: caps, rods`)
	})
	t.Run("one that is on another bench is refused", func(t *testing.T) {
		f := begin(t)
		f.scans("engine E1", "work order W1")
		f.must(audit.JointStarted{Bench: "B2", Build: 7, Joint: "caps", Person: "p1"})
		f.refuses(label.Joint, "caps", "is on bench B2 already")
		f.scans("joint rods")
	})
	t.Run("after a close the next joint of the same build follows", func(t *testing.T) {
		f := begin(t)
		f.scans("engine E1", "work order W1", "joint caps")
		f.must(audit.JointClosed{Bench: "B1", Run: f.shop.Run("B1"), Person: "p1"})
		f.scans("joint rods")
		f.want(f.lies(), "7: E1/W1 rods")
	})
	t.Run("fastener ids that differ in capitals alone are told by them", func(t *testing.T) {
		f := begin(t)
		f.scans("engine E1", "work order W1", "joint rods", "fastener AB")
		f.want(f.shop.View("B1").Scanned, "AB")
		f.scans("fastener ab")
		f.want(f.shop.View("B1").Scanned, "ab")
		f.refuses(label.Fastener, "Ab", `has no fastener "Ab"`)
		f.scans("fastener B2")
		f.want(f.shop.View("B1").Scanned, "b2")
	})
}

func TestScan_Fastener(t *testing.T) {
	begin := func(t *testing.T) *floor {
		f := newCounter(t)
		f.scans("badge b1", "engine E1", "work order W1")
		return f
	}
	joint := func(t *testing.T) *floor {
		f := begin(t)
		f.scans("joint caps")
		return f
	}
	t.Run("it needs a joint", func(t *testing.T) {
		begin(t).refuses(label.Fastener, "1", "no joint is on bench B1: start one first")
	})
	t.Run("one that the joint has not is refused", func(t *testing.T) {
		joint(t).refuses(label.Fastener, "9", `joint caps has no fastener "9"`)
	})
	t.Run("it locates the next reading, and that alone", func(t *testing.T) {
		f := joint(t)
		f.scans("fastener 3")
		f.want(f.shop.View("B1").Scanned, "3")
		m := f.pull(30_000, 25_500)
		if m[0].Fastener != "3" || m[0].LocatedBy != audit.ByScan || m[0].Confidence < 990_000 {
			t.Errorf("got %+v, want fastener 3 by scan, as good as certain", m[0])
		}
		f.want(f.shop.View("B1").Scanned, "")
		if m := f.pull(30_100, 25_600); m[0].Fastener == "3" || m[0].LocatedBy != audit.ByOrder {
			t.Errorf("got %+v, want the one after it by order", m[0])
		}
	})
	t.Run("another label takes its place", func(t *testing.T) {
		f := joint(t)
		f.scans("fastener 3", "fastener 2", "fastener 2")
		if m := f.pull(30_000, 25_500); m[0].Fastener != "2" || m[0].LocatedBy != audit.ByScan {
			t.Errorf("got %+v, want fastener 2 by scan", m[0])
		}
	})
	t.Run("it goes before a tag of the wrench", func(t *testing.T) {
		f := joint(t)
		f.scans("fastener 3")
		a := unit.Angle(25_500)
		m := f.must(audit.ReadingTaken{Bench: "B1", Reading: device.Reading{Wrench: "W1", Torque: 30 * unit.NewtonMetre, Unit: unit.Nm,
			Angle: &a, Direction: device.Tighten, Tag: "2"}}).Marks
		if m[0].Fastener != "3" || m[0].LocatedBy != audit.ByScan {
			t.Errorf("got %+v, want fastener 3 by scan", m[0])
		}
	})
	t.Run("a person's word goes before it", func(t *testing.T) {
		f := joint(t)
		f.scans("fastener 3")
		m := f.pull(30_000, 25_500)
		out := f.must(audit.FastenerNamed{Bench: "B1", Run: f.shop.Run("B1"), Reading: m[0].Reading, Fastener: "1", Person: "p1"})
		if len(out.Marks) != 1 || out.Marks[0].Fastener != "1" || out.Marks[0].LocatedBy != audit.ByPerson {
			t.Errorf("got %+v, want fastener 1 by person", out.Marks)
		}
	})
	t.Run("a reading that lay in the wrench's memory is older than it", func(t *testing.T) {
		f := joint(t)
		f.scans("fastener 3")
		a := unit.Angle(25_500)
		m := f.must(audit.ReadingTaken{Bench: "B1", Reading: device.Reading{Wrench: "W1", Torque: 30 * unit.NewtonMetre, Unit: unit.Nm,
			Angle: &a, Direction: device.Tighten, Stored: true}}).Marks
		if m[0].LocatedBy == audit.ByScan {
			t.Errorf("got %+v, want it not located by scan", m[0])
		}
		f.want(f.shop.View("B1").Scanned, "3")
	})
	t.Run("a reading at another bench leaves it", func(t *testing.T) {
		f := joint(t)
		f.scans("fastener 3")
		f.must(audit.ReadingTaken{Bench: "B2", Reading: device.Reading{Wrench: "W2", Torque: 30 * unit.NewtonMetre, Unit: unit.Nm}})
		f.want(f.shop.View("B1").Scanned, "3")
	})
	t.Run("a close forgets it", func(t *testing.T) {
		f := joint(t)
		f.scans("fastener 3")
		f.must(audit.JointClosed{Bench: "B1", Run: f.shop.Run("B1"), Person: "p1"})
		f.want(f.shop.View("B1").Scanned, "")
	})
	t.Run("one scanned for a joint that has changed is refused", func(t *testing.T) {
		f := joint(t)
		ev := f.shop.Scanned(audit.LabelScanned{Bench: "B1", Label: label.Fastener, Value: "1"})
		ev.Run--
		if out := f.apply(ev); !strings.Contains(out.Refused, "has changed meanwhile") {
			t.Errorf("got %q, want it refused", out.Refused)
		}
	})
}
