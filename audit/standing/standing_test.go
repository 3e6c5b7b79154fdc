package standing

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"
)

// The definition with half of the ties (percentile rank, common in statistics): among 1 2 3 4 5 the ranks are 10, 30, 50,
// 70, 90 %; a value of its own above all has 100 %.
func TestRank(t *testing.T) {
	for value, want := range map[int]int32{1: 100_000, 2: 300_000, 3: 500_000, 4: 700_000, 5: 900_000, 0: 0, 6: 1_000_000} {
		if got := Rank([]int{1, 2, 3, 4, 5}, value); int32(got) != want {
			t.Errorf("%d: got %d, want %d", value, got, want)
		}
	}
	if got := Rank([]int{7, 7, 7, 7}, 7); got != 500_000 {
		t.Errorf("all equal: got %d, want the middle", got)
	}
	if got := Rank(nil, 7); got != Unknown {
		t.Errorf("among none: got %d, want Unknown", got)
	}
}

func TestSpread(t *testing.T) {
	for rule, c := range map[string]struct {
		values []int64
		shown  int64
		want   string
	}{
		"one a bin":              {[]int64{1, 2, 2, 3, 4}, 2, "{1 1 [1 2 1 1] 0 0}"},
		"negative":               {[]int64{-5, -1, 0, 1}, 0, "{-6 2 [1 0 1 2] 0 0}"},
		"far out is not drawn":   {[]int64{10, 10, 11, 11, 12, 12, 13, 9000}, 11, "{10 2 [4 3 0 0 0] 0 1}"},
		"unless it is the value": {[]int64{10, 10, 11, 11, 12, 12, 13, 9000}, 9000, "{0 2000 [7 0 0 0 1] 0 0}"},
		"one value":              {[]int64{7}, 7, "{7 1 [1] 0 0}"},
		"none":                   {nil, 7, "{0 1 [] 0 0}"},
	} {
		if got := fmt.Sprint(Spread(c.values, c.shown, 5)); got != c.want {
			t.Errorf("%s: got %s, want %s", rule, got, c.want)
		}
	}
}

func TestSpread_CountsEveryValueOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(rapid.Int64Range(-1e12, 1e12), 1, 60).Draw(t, "values")
		shown := rapid.SampledFrom(values).Draw(t, "shown")
		n := rapid.IntRange(1, 20).Draw(t, "bins")
		b := Spread(values, shown, n)
		all := b.Under + b.Over
		for _, c := range b.Counts {
			all += c
		}
		if all != len(values) || len(b.Counts) > n+1 {
			t.Fatalf("got %d of %d values in %d bins, want all in %d", all, len(values), len(b.Counts), n+1)
		}
		if i := b.At(shown); i < 0 || i >= len(b.Counts) || b.Counts[i] < 1 {
			t.Fatalf("got bin %d for the value shown", i)
		}
	})
}
