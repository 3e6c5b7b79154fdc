package sheet

import (
	"encoding/json"
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/device/unit"
	"witnessmark/store"
)

// bolted is the history with its bolts told and prevailing nuts: M12 10.9, oiled, 95 mm.
func bolted(readings ...store.ReadingHistory) *store.History {
	h := history()
	text := strings.Replace(block, "joints:", "fastener_types:\n  bolt: {thread: M12x1.75, class: \"10.9\", length: 95 mm, lubrication: oiled}\njoints:", 1)
	text = strings.Replace(text, `{id: "1", at: [0, 0]}`, `{id: "1", at: [0, 0], type: bolt}`, 1)
	text = strings.Replace(text, "    checks:\n", "    prevailing: run-down\n    checks:\n      - {id: run-down, ask: Torque to run down, accept: 0..20 N·m, each: fastener}\n", 1)
	h.Builds[0].Procedure = text
	h.Builds[0].Runs = h.Builds[0].Runs[1:]
	h.Builds[0].Runs[0].Readings = readings
	return h
}

func sheets(t *testing.T, h *store.History) (*Engine, string) {
	t.Helper()
	e, err := Of(h, "")
	if err != nil {
		t.Fatal(err)
	}
	var text strings.Builder
	if err := e.Text(&text, OfFastener); err != nil {
		t.Fatal(err)
	}
	return e, text.String()
}

// VDI 2230 part 1, table A1 (edition of 2003, from memory): M12 with 83.6 N·m and a friction of 0.12 clamps with 43.0 kN, so
// 30 N·m clamp with 15.4 kN; ISO 898-1: the proof load of M12 10.9 is 70 000 N.
func TestOf_Preload(t *testing.T) {
	snug := reading(21, "30", "30.0", unit.Nm, 300, mk("snug", "1", audit.Pass))
	turn := reading(23, "99.5", "99.5", unit.Nm, 905, mk("turn", "1", audit.Pass))
	e, text := sheets(t, bolted(snug, turn))
	steps := e.Builds[0].Joints[0].Steps
	p := steps[0].Marks[0].Preload
	if p == nil || p.Low > 15_400 || p.High < 15_400 || p.ProofLoad < 69_000 || p.ProofLoad > 70_000 || p.Yields {
		t.Fatalf("got %+v, want 15.4 kN among it, far from yield", p)
	}
	turned := steps[2].Marks[0].Preload
	if turned == nil || turned.Low <= p.Low || !turned.Yields || !strings.Contains(turned.Estimate, "at or beyond yield") {
		t.Errorf("got %+v, want more than before, at or beyond yield", turned)
	}
	if want := "    Preload, estimated for information alone:\n    fastener 1  " + turned.Estimate; !strings.Contains(text, want) {
		t.Errorf("got\n%s\nwant %q in it", text, want)
	}
	body, err := json.Marshal(p)
	if err != nil || !strings.Contains(string(body), `"estimate":"an estimated `) {
		t.Errorf("got %s, %v, want it said to be an estimate", body, err)
	}
	h := bolted(snug)
	h.Builds[0].Runs[0].Answers = append(h.Builds[0].Runs[0].Answers, store.AnswerHistory{At: begin, Index: 95,
		CheckAnswered: audit.CheckAnswered{Check: "run-down", Fastener: "1", Value: "10 N·m", Yes: true}})
	e, _ = sheets(t, h)
	if less := e.Builds[0].Joints[0].Steps[0].Marks[0].Preload; less.High >= p.High*7/10 || less.High <= p.High*6/10 {
		t.Errorf("got %+v with 10 of 30 N·m needed to run down, want two thirds of %+v", less, p)
	}
}

func TestOf_BothTorques(t *testing.T) {
	m := mk("snug", "1", audit.Pass)
	m.Adapter, m.Applied = "cf-22", 30_333_333
	e, text := sheets(t, bolted(reading(21, "26", "26.0", unit.Nm, 300, m)))
	got := e.Builds[0].Joints[0].Steps[0].Marks[0]
	if got.Torque != "26.0" || got.Applied != "30.33" || got.Adapter != "cf-22" {
		t.Errorf("got %+v, want what was shown and what the fastener got", got)
	}
	if want := "26.0 N·m (30.33 at the fastener, through cf-22)"; !strings.Contains(text, want) {
		t.Errorf("got\n%s\nwant %q in it", text, want)
	}
	if p := got.Preload; p.Low > 15_550 || p.High < 15_550 { // 43.0 kN · 30.3/83.6
		t.Errorf("got %+v, want that of the torque at the fastener", p)
	}
}
