package drawing_test

import (
	"fmt"
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/drawing"
)

// done is the marks of a joint's first stages, each "stage fastener", in the order of pulling; one that ends in ! failed,
// one that ends in * is a second hit.
func done(pulls ...string) []audit.Mark {
	var marks []audit.Mark
	for i, p := range pulls {
		m := audit.Mark{Reading: uint64(i + 1), Verdict: audit.Pass, Flags: []string{}}
		if p, m.Fastener = strings.TrimRight(p, "!*"), p; strings.HasSuffix(m.Fastener, "!") {
			m.Verdict = audit.LowTorque
		} else if strings.HasSuffix(m.Fastener, "*") {
			m.Flags = []string{audit.ReHit}
		}
		m.Stage, m.Fastener, _ = strings.Cut(p, " ")
		marks = append(marks, m)
	}
	return marks
}

func TestTurns(t *testing.T) {
	j := joint(t, "rod-caps") // 1a 1b 2a 2b 3a 3b 4a 4b
	first := j.Stages[0].ID
	for rule, c := range map[string]struct {
		pulls []string
		want  string // fastener:real of stage 1, with ! where it is out of turn
	}{
		"all in turn": {[]string{"1a", "1b", "2a", "2b", "3a", "3b", "4a", "4b"}, "1a:1 1b:2 2a:3 2b:4 3a:5 3b:6 4a:7 4b:8"},
		"one skipped and made good blames it alone": {[]string{"1a", "2a", "2b", "3a", "3b", "4a", "4b", "1b"}, "1a:1 1b:8! 2a:2 2b:3 3a:4 3b:5 4a:6 4b:7"},
		"one skipped and left":                      {[]string{"1a", "2a"}, "1a:1 1b:0 2a:2 2b:0 3a:0 3b:0 4a:0 4b:0"},
		"one pulled too early":                      {[]string{"4b", "1a", "1b", "2a"}, "1a:2 1b:3 2a:4 2b:0 3a:0 3b:0 4a:0 4b:1!"},
		"a second hit does not move it":             {[]string{"1a", "1b", "1a*", "2a"}, "1a:1 1b:2 2a:3 2b:0 3a:0 3b:0 4a:0 4b:0"},
		"given up and made good is done when good":  {[]string{"1a!", "1b", "1a"}, "1a:2! 1b:1 2a:0 2b:0 3a:0 3b:0 4a:0 4b:0"},
		"nothing done":                              {nil, "1a:0 1b:0 2a:0 2b:0 3a:0 3b:0 4a:0 4b:0"},
	} {
		t.Run(rule, func(t *testing.T) {
			var pulls, got []string
			for _, p := range c.pulls {
				pulls = append(pulls, first+" "+p)
			}
			for _, turn := range drawing.Turns(j, bench.Steps(j, done(pulls...), nil))[0] {
				one := fmt.Sprintf("%s:%d", turn.Fastener, turn.Real)
				if turn.OutOfTurn {
					one += "!"
				}
				got = append(got, one)
			}
			if strings.Join(got, " ") != c.want {
				t.Errorf("got %s, want %s", strings.Join(got, " "), c.want)
			}
		})
	}
}

// What is not as wanted is told by shape and by text.
func TestReal_ShapesAndNotes(t *testing.T) {
	j := joint(t, "rod-caps")
	first := j.Stages[0].ID + " "
	turns := drawing.Turns(j, bench.Steps(j, done(first+"1a", first+"2a", first+"2b!", first+"3a", first+"3a*", first+"1b"), nil))[0]
	p := drawing.Real(j, 0, turns)
	want := map[string]struct {
		shape drawing.Shape
		text  string
	}{"1a": {drawing.Hexagon, "1 "}, "1b": {drawing.Diamond, "4 wanted 2"}, "2a": {drawing.Hexagon, "2 "},
		"2b": {drawing.Square, "× low torque"}, "3a": {drawing.Hexagon, "3 2 hits"}, "3b": {drawing.Ring, " open"}}
	for _, h := range p.Layout().Heads {
		if w, ok := want[h.ID]; ok && (h.Shape != w.shape || h.Turn+" "+h.Note != w.text) {
			t.Errorf("fastener %s: got shape %d with %q, want %d with %q", h.ID, h.Shape, h.Turn+" "+h.Note, w.shape, w.text)
		}
	}
	for _, text := range []string{`class="diamond"`, "wanted 2", `class="square"`, "low torque", `class="ring"`, "2 hits"} {
		if !strings.Contains(p.SVG(), text) {
			t.Errorf("the SVG does not say %s", text)
		}
	}
}

// No two heads touch, whatever the places are.
func TestLayout_Room(t *testing.T) {
	for _, id := range []string{"main-caps", "rod-caps", "head", "sump"} {
		l := drawing.Of(joint(t, id), 0).Layout()
		for i, a := range l.Heads {
			for _, b := range l.Heads[:i] {
				if dx, dy := a.X-b.X, a.Y-b.Y; dx*dx+dy*dy < 9*l.Radius*l.Radius {
					t.Errorf("%s: fasteners %s and %s lie too close", id, a.ID, b.ID)
				}
			}
		}
	}
}
