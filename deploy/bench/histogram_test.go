package main

import (
	"testing"
	"time"
)

// The rule is that of histogram_quantile in Prometheus: between two bounds by proportion, and what lies above the last
// bound counts as that.
func TestHistogram_At(t *testing.T) {
	label := func(le string) string { return `witnessmark_x_bucket{le="` + le + `"}` }
	before := map[string]float64{label("0.001"): 5, label("0.002"): 5, label("+Inf"): 5}
	after := map[string]float64{label("0.001"): 9, label("0.002"): 13, label("+Inf"): 15, `witnessmark_other_bucket{le="7"}`: 100}
	h := newHistogram("x", before, after)
	for share, want := range map[float64]time.Duration{0.2: 500 * time.Microsecond, 0.4: time.Millisecond, 0.6: 1500 * time.Microsecond, 1: 2 * time.Millisecond} {
		if got := h.at(share); got.Round(time.Microsecond) != want {
			t.Errorf("at %v: got %v, want %v", share, got, want)
		}
	}
	if got := newHistogram("x", after, after).at(0.5); got != 0 {
		t.Errorf("of nothing: got %v, want 0", got)
	}
}
