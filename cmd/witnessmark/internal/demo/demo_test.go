package demo

import (
	"slices"
	"testing"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/wrenchsim/sim"
	"witnessmark/device"
	"witnessmark/device/unit"
)

// tell plays the story without daemon and wires, with the bolts of a seed.
func tell(t *testing.T, seed uint64) (played []Played, inForce map[uint64]audit.Mark, end bench.View) {
	t.Helper()
	shop := bench.NewShop(nil)
	seq := uint64(0)
	inForce = map[uint64]audit.Mark{}
	apply := func(ev audit.Event) {
		t.Helper()
		seq++
		out := shop.Apply(audit.Entry{Seq: seq, At: time.Date(2026, 3, 2, 8, 0, int(seq), 0, time.UTC), Event: ev})
		if out.Refused != "" {
			t.Fatal(out.Refused)
		}
		for _, m := range out.Marks {
			inForce[m.Reading] = m
		}
	}
	apply(audit.ProcedureAdded{Family: family, Revision: revision, Text: procedureText})
	apply(audit.BuildOpened{Engine: Engine(0), Family: family, Revision: revision, WorkOrder: "WO-1"})
	apply(audit.JointStarted{Bench: benchID, Build: 2, Joint: joint})
	floor := bolts(seed)
	for _, a := range story() {
		switch {
		case a.check != "":
			apply(audit.CheckAnswered{Bench: benchID, Run: 3, Check: a.check, Yes: a.value == "", Value: a.value})
		case a.name != "":
			apply(audit.FastenerNamed{Bench: benchID, Run: 3, Reading: seq, Fastener: a.name})
		default:
			p, truth, err := floor.Pull(*a.pull, sim.CommonMeter().Gauge)
			if err != nil {
				t.Fatal(err)
			}
			angle := unit.Angle(p.Angle+0.5) * unit.Degree
			apply(audit.ReadingTaken{Bench: benchID, Reading: device.Reading{Wrench: a.pull.Wrench, Angle: &angle,
				Torque: unit.Torque(p.Torque*10+0.5) * unit.NewtonMetre / 10, Direction: device.Tighten}})
			played = append(played, Played{seq, truth, a.meets})
		}
	}
	end = shop.View(benchID)
	apply(audit.JointClosed{Bench: benchID, Run: 3})
	return played, inForce, end
}

func TestStory_EndsAsExpected(t *testing.T) {
	played, inForce, end := tell(t, 1)
	for _, s := range Surprises(played, inForce) {
		t.Error(s)
	}
	if !end.Summary.Complete || end.Next != nil {
		t.Errorf("got %+v, want a complete joint", end.Summary)
	}
	kinds := map[string]int{}
	for _, p := range played {
		m := inForce[p.Seq]
		for _, f := range m.Flags {
			kinds[f]++
		}
		kinds[string(m.Verdict)]++
	}
	if kinds["low torque"] != 1 || kinds[audit.ReHit] != 1 || kinds["not judged"] != 1 || kinds[audit.OutOfOrder] == 0 {
		t.Errorf("got %v, want one low torque, one re-hit, one stray and something out of order", kinds)
	}
}

// TestStory_OtherBolts is what a second and a tenth demonstration on the same data folder meet.
func TestStory_OtherBolts(t *testing.T) {
	for seed := range uint64(20) {
		played, inForce, end := tell(t, seed+1)
		for _, s := range Surprises(played, inForce) {
			t.Errorf("seed %d: %s", seed+1, s)
		}
		if !end.Summary.Complete {
			t.Errorf("seed %d: got %+v, want a complete joint", seed+1, end.Summary)
		}
	}
}

func TestSurprises_NamesWhatWasMissed(t *testing.T) {
	played, inForce, _ := tell(t, 1)
	i := slices.IndexFunc(played, func(p Played) bool { return p.Truth.Hit == sim.ReHit })
	m := inForce[played[i].Seq]
	m.Flags = nil
	inForce[played[i].Seq] = m
	k := slices.IndexFunc(played, func(p Played) bool { return p.Check != "" })
	m = inForce[played[k].Seq]
	m.CheckID = ""
	inForce[played[k].Seq] = m
	if got := Surprises(played, inForce); len(got) != 2 {
		t.Errorf("got %v, want the second hit that was not found, and the measurement that was not", got)
	}
}
