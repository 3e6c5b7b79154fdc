package bench_test

import (
	"fmt"
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/audit/procedure"
	"witnessmark/device"
	"witnessmark/device/unit"
)

// VDI 2230 part 1, table A1 (edition of 2003, from memory): M12 with 83.6 N·m and a friction of 0.12 clamps with 43.0 kN,
// so 60 N·m clamp with 30.9 kN. ISO 898-1: the proof load of M12 10.9 is 70 000 N.
func TestShop_Preload(t *testing.T) {
	view := func(kind string, torque int64) string {
		text := strings.Replace(caps, "joints:", "fastener_types:\n  bolt: {"+kind+"}\njoints:", 1)
		text = strings.Replace(text, `{id: "1", at: [0, 0]}`, `{id: "1", at: [0, 0], type: bolt}`, 1)
		text = strings.Replace(text, "tighten_to: 30 N·m", "tighten_to: 60 N·m", 1)
		f := &floor{t: t, shop: bench.NewShop(nil)}
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

// VDI 2230 part 1, elastic turn: M10 10.9 over 60 mm gains 676 N a degree where the parts give a tenth as much
// as the bolt (constructed); ISO 898-1: its proof load is 48 100 N.
func TestClamps_Angle(t *testing.T) {
	clamps := func(kind string) *bench.Clamps {
		text := strings.Replace(caps, "joints:", "fastener_types:\n  bolt: {"+kind+"}\njoints:", 1)
		text = strings.Replace(text, `{id: "1", at: [0, 0]}`, `{id: "1", at: [0, 0], type: bolt}`, 1)
		text += "      - {id: turn, turn_by: 90°, accept: ±60°}\n      - {id: moves, verify: 20..70 N·m}\n"
		p, err := procedure.Parse("caps.yaml", []byte(text))
		if err != nil {
			t.Fatal(err)
		}
		return bench.NewClamps(p, &p.Joints[0], []bench.Renewal{{Entry: 100, Fastener: "1"}})
	}
	const m10 = `thread: M10x1.5, class: "10.9", length: 60 mm, lubrication: oiled`
	pull := func(c *bench.Clamps, stage string, torque int64, degrees unit.Angle, v audit.Verdict, way device.Direction) (bench.Clamp, bool) {
		a := degrees * unit.Degree
		return c.Pull(&audit.Mark{Stage: stage, Fastener: "1", Verdict: v},
			&device.Reading{Torque: unit.Torque(torque) * unit.NewtonMetre, Angle: &a, Direction: way}, 0)
	}
	c := clamps(m10)
	snug, _ := pull(c, "snug", 20, 20, audit.Pass, device.Tighten)
	turned, known := pull(c, "turn", 50, 30, audit.Pass, device.Tighten)
	if gained := turned.Low - snug.Low; !known || gained > 20_284 || turned.High-snug.High < 20_284 || turned.Yields() {
		t.Errorf("got %+v after %+v, want the 20 284 N of 30° among what was gained, in the elastic range", turned, snug)
	}
	if _, known := pull(c, "moves", 55, 2, audit.Pass, device.Tighten); known {
		t.Error("got an estimate of a verification, which tightens nothing")
	}
	if again, _ := pull(c, "snug", 20, 1, audit.Pass, device.Tighten); again.Force != turned.Force {
		t.Errorf("got %+v after a second hit with less torque, want %+v as before", again, turned)
	}
	may, _ := pull(c, "turn", 60, 20, audit.Pass, device.Tighten)
	if text := may.String(); !may.Yields() || !strings.HasSuffix(text, "100 % of the proof load: it may be at or beyond yield") {
		t.Errorf("got %q, want the proof load as the end of what is known", text)
	}
	beyond, _ := pull(c, "turn", 70, 90, audit.Pass, device.Tighten)
	if text := beyond.String(); text != "an estimated 48.1 kN or more, its proof load: it is at or beyond yield" {
		t.Errorf("got %q, want no figure beyond the proof load", text)
	}
	if _, known := pull(c, "snug", 20, 90, audit.WrongDirection, device.Loosen); known {
		t.Error("got an estimate of a fastener that was turned back")
	}
	if _, known := pull(c, "turn", 20, 90, audit.Pass, device.Tighten); known {
		t.Error("got an estimate of a turn from a torque that nobody knows")
	}
	pull(c, "snug", 60, 90, audit.Pass, device.Tighten)
	a := 20 * unit.Degree
	weaker := device.Reading{Torque: 20 * unit.NewtonMetre, Angle: &a, Direction: device.Tighten}
	if fresh, _ := c.Pull(&audit.Mark{Reading: 101, Stage: "snug", Fastener: "1", Verdict: audit.Pass}, &weaker, 0); fresh.Force != snug.Force {
		t.Errorf("got %+v of a new bolt, want %+v: the old one is gone", fresh, snug)
	}
	elastic := clamps(`thread: M10x1.5, length: 60 mm`)
	pull(elastic, "snug", 20, 20, audit.Pass, device.Tighten)
	if c, _ := pull(elastic, "turn", 50, 30, audit.Pass, device.Tighten); !strings.HasSuffix(c.String(), "as long as the bolt is elastic") {
		t.Errorf("got %q of an unknown class, want the condition told", c)
	}
	short := clamps(`thread: M10x1.5`)
	pull(short, "snug", 20, 20, audit.Pass, device.Tighten)
	if c, known := pull(short, "turn", 50, 30, audit.Pass, device.Tighten); known {
		t.Errorf("got %q of a bolt of unknown length, want nothing", c)
	}
}
