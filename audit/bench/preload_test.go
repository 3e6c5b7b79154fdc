package bench_test

import (
	"fmt"
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/audit/bench"
)

// VDI 2230 part 1, table A1 (edition of 2003, from memory): M12 with 83.6 N·m and a friction of 0.12 clamps with 43.0 kN,
// so 60 N·m clamp with 30.9 kN. ISO 898-1: the proof load of M12 10.9 is 70 000 N.
func TestShop_Preload(t *testing.T) {
	view := func(kind string, torque int64) string {
		text := strings.Replace(caps, "joints:", "fastener_types:\n  bolt: {"+kind+"}\njoints:", 1)
		text = strings.Replace(text, `{id: "1", at: [0, 0]}`, `{id: "1", at: [0, 0], type: bolt}`, 1)
		text = strings.Replace(text, "tighten_to: 30 N·m", "tighten_to: 60 N·m", 1)
		f := &floor{t: t, shop: bench.NewShop()}
		f.must(audit.ProcedureAdded{Family: "TT-1", Revision: "1", Text: text})
		f.must(audit.PersonAdded{Person: "p1", Name: "Ines Falk"})
		f.must(audit.BuildOpened{Engine: "E1", Family: "TT-1", Revision: "1", WorkOrder: "WO1", Person: "p1"})
		f.must(audit.JointStarted{Bench: "B1", Build: 3, Joint: "caps", Person: "p1"})
		f.pull(torque, 40_000)
		return f.shop.View("B1").Last.Preload
	}
	got := view(`thread: M12x1.75, class: "10.9", lubrication: "oiled, thread and head"`, 60_000)
	var low, high float64
	var from, to int
	if _, err := fmt.Sscanf(got, "an estimated %f to %f kN, %d to %d %% of the proof load", &low, &high, &from, &to); err != nil {
		t.Fatalf("got %q: %v", got, err)
	}
	if low > 30.9 || high < 30.9 || from != int(low/0.7) || to != int(high/0.7) {
		t.Errorf("got %q, want 30.9 kN among them, and both as shares of 70 kN", got)
	}
	if got := view("thread: M12x1.75", 60_000); !strings.HasSuffix(got, " kN") {
		t.Errorf("got %q of a bolt of unknown class, want no share of its proof load", got)
	}
	if got := view("thread: stud", 60_000); got != "" {
		t.Errorf("got %q of an unknown thread, want nothing", got)
	}
	if got := view("thread: M12x1.75", 40_000); got != "" {
		t.Errorf("got %q of a pull that did not pass, want nothing", got)
	}
}
