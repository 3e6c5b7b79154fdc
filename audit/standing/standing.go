// Package standing says where one value lies among many alike.
package standing

import (
	"cmp"
	"slices"

	"witnessmark/audit"
)

// Rank is the percentile rank of a value among others, in millionths: the share that is smaller and half the share that is
// equal, as is common in statistics. Among none it is Unknown.
func Rank[T cmp.Ordered](among []T, value T) audit.Share {
	if len(among) == 0 {
		return Unknown
	}
	below, equal := 0, 0
	for _, v := range among {
		switch {
		case v < value:
			below++
		case v == value:
			equal++
		}
	}
	return audit.Share((2*below + equal) * int(audit.Certain) / (2 * len(among)))
}

// Unknown is the rank among none.
const Unknown audit.Share = -1

// Bins counts values in intervals of equal width.
type Bins struct {
	From, Width int64 // of the first bin; each holds its lower end and not its upper one
	Counts      []int
	Under, Over int // values outside the bins
}

// Spread counts values in at most n bins around the middle of them, and around a value that must be seen among them. The
// width is a round number, 1, 2 or 5 times a power of ten of the unit. Values far outside (further from the quartiles than
// three times their distance, Tukey's far-out values) are counted as under or over, so that one slip does not squeeze all others.
func Spread(values []int64, shown int64, n int) Bins {
	if len(values) == 0 || n < 1 {
		return Bins{Width: 1}
	}
	sorted := slices.Sorted(slices.Values(values))
	q1, q3 := sorted[len(sorted)/4], sorted[len(sorted)*3/4]
	low := min(max(sorted[0], q1-3*(q3-q1)), shown)
	high := max(min(sorted[len(sorted)-1], q3+3*(q3-q1)), shown)
	b := Bins{Width: round((high-low)/int64(n) + 1)}
	b.From = floor(low, b.Width)
	b.Counts = make([]int, (high-b.From)/b.Width+1)
	for _, v := range sorted {
		switch i := b.At(v); {
		case i < 0:
			b.Under++
		case i >= len(b.Counts):
			b.Over++
		default:
			b.Counts[i]++
		}
	}
	return b
}

// At is the bin of a value; below 0 or beyond the last one it is outside.
func (b Bins) At(v int64) int { return int((floor(v, b.Width) - b.From) / b.Width) }

// floor is the greatest multiple of width that is not above v.
func floor(v, width int64) int64 {
	f := v / width * width
	if f > v {
		f -= width
	}
	return f
}

// round is the smallest 1, 2 or 5 times a power of ten that is not below w.
func round(w int64) int64 {
	for p := int64(1); ; p *= 10 {
		for _, m := range []int64{1, 2, 5} {
			if m*p >= w {
				return m * p
			}
		}
	}
}
