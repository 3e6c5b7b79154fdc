package bench_test

import (
	"slices"
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/audit/bench"
)

// What is to be looked at while a joint is on the bench is what stands in the way of the release later.
func TestShop_WhatIsToBeLookedAtBlocks(t *testing.T) {
	for _, flag := range audit.Flags() {
		for _, by := range []audit.LocatedBy{"", audit.ByTag, audit.ByScan, audit.ByPerson, audit.ByOrder} {
			m := audit.Mark{Stage: "snug", Fastener: "1", Verdict: audit.Pass, Flags: []string{flag}, LocatedBy: by}
			blocks, looked := bench.Judged(m)
			if blocks != looked {
				t.Errorf("%q, located by %q: got in the way %v, to be looked at %v", flag, by, blocks, looked)
			}
		}
	}
}

// A reading that a person said to be none of the joint is explained.
func TestShop_AStrayThatAPersonNamed(t *testing.T) {
	f := newFloor(t)
	f.snugAll()
	f.pull(60_000, 22_500)
	marks := f.must(audit.FastenerNamed{Bench: "B1", Run: 5, Reading: f.seq, Person: "p1"}).Marks
	if m := marks[0]; !slices.Contains(m.Flags, audit.Unexpected) || m.Fastener != "" || m.LocatedBy != audit.ByPerson {
		t.Fatalf("got %+v, want a stray that is so by a person", m)
	}
	s := f.shop.View("B1").Summary
	if speaks(s, audit.Unexpected) || slices.ContainsFunc(f.review(), func(id string) bool { return strings.HasPrefix(id, audit.Unexpected) }) {
		t.Errorf("got %q and %q, want nothing of a reading that is explained", s.Attention, f.review())
	}
}
