package main

import (
	"slices"
	"testing"
)

func TestMarks(t *testing.T) {
	for readings, want := range map[int][]int{
		1000:      {1000},
		100_000:   {100_000},
		300_000:   {100_000, 200_000, 300_000},
		2_000_000: {100_000, 200_000, 500_000, 1_000_000, 2_000_000},
	} {
		if got := marks(readings); !slices.Equal(got, want) {
			t.Errorf("%d: got %v, want %v", readings, got, want)
		}
	}
}
