package procedure

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// circle is a flange of n bolts on a circle of 200 mm, coordinates rounded to whole millimetres as on a drawing.
func circle(n int) string {
	var b strings.Builder
	for i := range n {
		a := 2 * math.Pi * float64(i) / float64(n)
		fmt.Fprintf(&b, "      - {id: \"%d\", at: [%.0f, %.0f]}\n", i+1, 200*math.Cos(a), 200*math.Sin(a))
	}
	return b.String()
}

func flange(t *testing.T, fasteners string) *Joint {
	t.Helper()
	p, err := Parse("flange", []byte("format: witnessmark/procedure/1\nfamily: F\nrevision: \"1\"\ntitle: Flange\nsource: invented\ndecision: simple\njoints:\n"+
		"  - id: flange\n    title: Flange\n    criticality: B\n    round: stage\n    order: criss-cross\n    fasteners:\n"+fasteners+
		"    stages:\n      - {id: set, tighten_to: 50 N·m, accept: ±5 %}\n"))
	if err != nil {
		t.Fatal(err)
	}
	return &p.Joints[0]
}

// The star pattern of the legacy method of ASME PCC-1 (from memory): common practice for flanges of these sizes.
func TestJoint_CrissCross(t *testing.T) {
	for n, want := range map[int]string{
		4:  "1 3 2 4",
		6:  "1 4 2 5 3 6",
		8:  "1 5 3 7 2 6 4 8",
		12: "1 7 4 10 2 8 5 11 3 9 6 12",
		16: "1 9 5 13 3 11 7 15 2 10 6 14 4 12 8 16",
	} {
		if got := strings.TrimPrefix(round(flange(t, circle(n))), "set: "); got != want {
			t.Errorf("%d bolts: got %s, want %s", n, got, want)
		}
	}
}

func TestJoint_CrissCrossOfARectangle(t *testing.T) {
	four := "      - {id: a, at: [0, 0]}\n      - {id: b, at: [100, 0]}\n      - {id: c, at: [100, 60]}\n      - {id: d, at: [0, 60]}\n"
	if got, want := strings.TrimPrefix(round(flange(t, four)), "set: "), "a c b d"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}
