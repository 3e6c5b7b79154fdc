package bench_test

import (
	"testing"
)

// A second hit that may as well have been the next fastener leaves a stage in doubt, and nobody has missed what was not due yet.
func TestShop_WhatIsNotDueYetWasNotMissed(t *testing.T) {
	f := newFloor(t)
	f.snugAll()
	f.pull(60_000, 27_000)
	f.pull(62_400, 2_000)
	f.pull(60_600, 27_000)
	s := f.shop.View("B1").Summary
	if !speaks(s, "stage seat", "of these are not done: ") || speaks(s, "missed") {
		t.Errorf("got %q, want what is not done, and nothing called missed", s.Attention)
	}
}
