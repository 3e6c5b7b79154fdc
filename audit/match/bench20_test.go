package match_test

import (
	"fmt"
	"strings"
	"testing"

	"witnessmark/audit/match"
	"witnessmark/audit/procedure"
)

// block is a joint of 20 fasteners in 4 stages: the size that the price of a reading is stated for.
func block(t testing.TB) *procedure.Joint {
	t.Helper()
	var b strings.Builder
	b.WriteString("format: witnessmark/procedure/1\nfamily: TT-2\nrevision: \"1\"\ntitle: Block\nsource: invented for this test\ndecision: simple\njoints:\n" +
		"  - id: block\n    title: Block\n    criticality: A\n    round: stage\n    order: listed\n    fasteners:\n")
	for i := range 20 {
		fmt.Fprintf(&b, "      - {id: \"%d\", at: [%d, %d]}\n", i+1, i%2*80, i/2*60)
	}
	b.WriteString("    stages:\n      - {id: snug, tighten_to: 30 N·m, accept: ±10 %}\n      - {id: seat, tighten_to: 60 N·m, accept: ±5 %}\n" +
		"      - {id: turn, turn_by: 90°, accept: ±5°}\n      - {id: more, turn_by: 60°, accept: ±5°}\n")
	p, err := procedure.Parse("block.yaml", []byte(b.String()))
	if err != nil {
		t.Fatal(err)
	}
	return &p.Joints[0]
}

// BenchmarkMatcher_Block is the price of a reading of a clean joint of 20 fasteners in 4 stages, and of one that was
// hit twice in its first stage.
func BenchmarkMatcher_Block(b *testing.B) {
	j := block(b)
	for name, slip := range map[string]int{"clean": -1, "hit twice": 7} {
		b.Run(name, func(b *testing.B) {
			w := &workshop{j: j}
			b.ReportAllocs()
			for n := 0; b.Loop(); n++ {
				k := n % 80
				if k == 0 {
					w.m, w.standing = match.New(w.j), make([]int64, 20)
				}
				f := k % 20
				if k == slip {
					f--
				}
				w.round(k/20, f)
			}
		})
	}
}
