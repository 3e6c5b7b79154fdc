package procedure

import (
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"witnessmark/device/strictyaml"
	"witnessmark/device/unit"
)

// A drawn joint is the text of a procedure with one joint, and what each stage of it covers.
type drawn struct {
	text    string
	covered [][]int // by stage, sorted
}

func draw(t *rapid.T) drawn {
	n := rapid.IntRange(1, 12).Draw(t, "fasteners")
	byStage := rapid.Bool().Draw(t, "round: stage")
	var b strings.Builder
	b.WriteString("format: witnessmark/procedure/1\nfamily: F\nrevision: r\ntitle: T\nsource: S\ndecision: simple\njoints:\n- id: j\n  title: J\n  criticality: C\n")
	fmt.Fprintf(&b, "  round: %s\n  order: %s\n  fasteners:\n", map[bool]string{true: "stage", false: "fastener"}[byStage], drawOrder(t, seq(n)))
	for i := range n {
		fmt.Fprintf(&b, "  - {id: f%d, at: [%d, %d]}\n", i, i/2*100, i%2*80)
	}
	d := drawn{covered: [][]int{seq(n)}}
	b.WriteString("  stages:\n  - {id: s0, tighten_to: 9 N·m, accept: ±5 %}\n")
	for s := range rapid.IntRange(0, 4).Draw(t, "more stages") {
		some := rapid.Permutation(seq(n)).Draw(t, "only")[:rapid.IntRange(1, n).Draw(t, "covered")]
		fmt.Fprintf(&b, "  - {id: s%d, tighten_to: 9 N·m, accept: ±5 %%, only: [%s]", s+1, idList(some))
		if byStage && rapid.Bool().Draw(t, "own order") {
			fmt.Fprintf(&b, ", order: %s", drawOrder(t, some))
		}
		b.WriteString("}\n")
		slices.Sort(some)
		d.covered = append(d.covered, some)
	}
	d.text = b.String()
	return d
}

func drawOrder(t *rapid.T, of []int) string {
	switch rapid.IntRange(0, 2).Draw(t, "order") {
	case 0:
		return "listed"
	case 1:
		return "inside-out"
	}
	return "[" + idList(rapid.Permutation(of).Draw(t, "listed order")) + "]"
}

func seq(n int) []int {
	all := make([]int, n)
	for i := range all {
		all[i] = i
	}
	return all
}

func idList(fasteners []int) string {
	ids := make([]string, len(fasteners))
	for i, f := range fasteners {
		ids[i] = fmt.Sprintf("f%d", f)
	}
	return strings.Join(ids, ", ")
}

func TestJoint_Sequence_covers_each_step_once(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t)
		p, err := Parse("drawn.yaml", []byte(d.text))
		if err != nil {
			t.Fatalf("%v in\n%s", err, d.text)
		}
		got := make([][]int, len(d.covered))
		last := Step{}
		for i, s := range p.Joints[0].Sequence() {
			got[s.Stage] = append(got[s.Stage], s.Fastener)
			if p.Joints[0].Round == RoundStage && s.Stage < last.Stage {
				t.Errorf("step %d: got stage %d after stage %d", i, s.Stage, last.Stage)
			}
			last = s
		}
		for s := range got {
			slices.Sort(got[s])
		}
		if !reflect.DeepEqual(got, d.covered) {
			t.Errorf("got %v, want %v in\n%s", got, d.covered, d.text)
		}
	})
}

// placed makes fasteners from millimetres.
func placed(xy ...[2]int64) []Fastener {
	all := make([]Fastener, len(xy))
	for i, p := range xy {
		all[i] = Fastener{X: unit.Length(p[0]) * unit.Millimetre, Y: unit.Length(p[1]) * unit.Millimetre, Placed: true}
	}
	return all
}

func TestInsideOut(t *testing.T) {
	cases := map[string]struct {
		at   []Fastener
		want []int
	}{
		"one":                           {placed([2]int64{7, 7}), []int{0}},
		"the middle of three first":     {placed([2]int64{0, 0}, [2]int64{100, 0}, [2]int64{200, 0}), []int{1, 0, 2}},
		"a wheel goes across":           {placed([2]int64{100, 0}, [2]int64{0, 100}, [2]int64{-100, 0}, [2]int64{0, -100}), []int{0, 2, 1, 3}},
		"two in a hundred is as near":   {placed([2]int64{0, 102}, [2]int64{100, 0}, [2]int64{0, -102}, [2]int64{-100, 0}), []int{0, 2, 1, 3}},
		"three in a hundred is farther": {placed([2]int64{0, 103}, [2]int64{100, 0}, [2]int64{0, -103}, [2]int64{-100, 0}), []int{1, 3, 0, 2}},
		"the places, not the numbering": {placed([2]int64{400, 0}, [2]int64{0, 0}, [2]int64{200, 0}, [2]int64{300, 0}, [2]int64{100, 0}), []int{2, 3, 4, 0, 1}},
		"far coordinates do not run over": {placed([2]int64{99_999_900, 0}, [2]int64{100_000_000, 0}, [2]int64{-100_000_000, 0}),
			[]int{0, 1, 2}},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			if got := insideOut(c.at, seq(len(c.at))); !slices.Equal(got, c.want) {
				t.Errorf("got %v, want %v", got, c.want)
			}
		})
	}
}

// The centre is where the drawing has it: moving the drawing's origin changes nothing.
func TestInsideOut_Moved(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		point := rapid.Custom(func(t *rapid.T) [2]int64 {
			return [2]int64{rapid.Int64Range(-500, 500).Draw(t, "x"), rapid.Int64Range(-500, 500).Draw(t, "y")}
		})
		at := placed(rapid.SliceOfNDistinct(point, 1, 20, rapid.ID).Draw(t, "at")...)
		before := insideOut(at, seq(len(at)))
		dx := unit.Length(rapid.Int64Range(-1e9, 1e9).Draw(t, "dx"))
		for i := range at {
			at[i].X += dx
		}
		if after := insideOut(at, seq(len(at))); !slices.Equal(before, after) {
			t.Errorf("got %v, want %v as before", after, before)
		}
		slices.Sort(before)
		if !slices.Equal(before, seq(len(at))) {
			t.Errorf("got %v, want every fastener once", before)
		}
	})
}

func FuzzParse(f *testing.F) {
	for _, pattern := range []string{"*.yaml", "wrong/*.yaml"} {
		paths, err := filepath.Glob(files + pattern)
		if err != nil || len(paths) == 0 {
			f.Fatalf("%s: got %d files, %v, want some", pattern, len(paths), err)
		}
		for _, path := range paths {
			text, err := os.ReadFile(path)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(text)
		}
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		p, err := Parse("fuzz.yaml", text)
		if again, err2 := Parse("fuzz.yaml", text); !reflect.DeepEqual(p, again) || !reflect.DeepEqual(err, err2) {
			t.Errorf("got %v, %v, and the second time %v, %v", p, err, again, err2)
		}
		if err != nil {
			checkFaults(t, err, text)
			return
		}
		for i := range p.Joints {
			checkJoint(t, &p.Joints[i])
		}
	})
}

// checkFaults wants every fault inside the text.
func checkFaults(t *testing.T, err error, text []byte) {
	lines := strings.Count(string(text), "\n") + strings.Count(string(text), "\r") + 1
	for _, f := range err.(strictyaml.Faults) {
		if f.Line < 1 || f.Line > lines || f.Column < 1 || f.Message == "" || strings.Contains(f.Message, "%!") {
			t.Errorf("got %q, want a fault inside %d lines", f, lines)
		}
	}
}

// checkJoint wants what people and the bench rely on in any joint that was accepted.
func checkJoint(t *testing.T, j *Joint) {
	steps := j.Sequence()
	if len(steps) < len(j.Fasteners) || len(j.Fasteners) == 0 {
		t.Errorf("joint %s: got %d steps for %d fasteners", j.ID, len(steps), len(j.Fasteners))
	}
	for _, s := range steps {
		target, w := int64(s.Torque), window{int64(s.Torques.Low), int64(s.Torques.High)}
		if s.Action == TurnBy || s.Action == LoosenBy {
			target, w = int64(s.Angle), window{int64(s.Angles.Low), int64(s.Angles.High)}
		}
		if target <= 0 || w.low < 0 || target < w.low || target > w.high {
			t.Errorf("joint %s: got the target %s", j.ID, s.Target())
		}
	}
}
