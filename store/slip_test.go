package store

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// The first three are the examples of the literature on edit distance; "CA" and "ABC" tell optimal string alignment (3) from
// the unrestricted Damerau-Levenshtein distance (2).
func TestDistance(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want int
	}{
		{"KITTEN", "SITTING", 3}, {"SATURDAY", "SUNDAY", 3}, {"CA", "ABC", 3},
		{"", "", 0}, {"A", "", 1}, {"AB", "BA", 1}, {"A10423", "A10432", 1}, {"A10423", "A1O423", 1}, {"Ä1", "1", 1},
	} {
		if got := distance(c.a, c.b, 9); got != c.want {
			t.Errorf("%s and %s: got %d, want %d", c.a, c.b, got, c.want)
		}
	}
	if got := distance("A", "ABCDEFGH", 2); got <= 2 {
		t.Errorf("far apart: got %d, want more than 2", got)
	}
}

// Every text one slip away is among the slips, and none that is further away.
func TestSlips_AreThoseAtDistanceOne(t *testing.T) {
	letters := rapid.SampledFrom([]rune(alphabet))
	rapid.Check(t, func(t *rapid.T) {
		text := []rune(rapid.StringOfN(letters, 1, 8, -1).Draw(t, "text"))
		all := slips(string(text))
		for _, s := range all {
			if d := distance(string(text), s, 2); d > 1 {
				t.Fatalf("%s: got %s, at distance %d", string(text), s, d)
			}
		}
		other := slices.Clone(text)
		i, c := rapid.IntRange(0, len(text)-1).Draw(t, "place"), letters.Draw(t, "character")
		switch rapid.IntRange(0, 3).Draw(t, "slip") {
		case 0:
			other[i] = c
		case 1:
			other = slices.Delete(other, i, i+1)
		case 2:
			other = slices.Insert(other, i, c)
		default:
			j := max(i-1, 0)
			other[i], other[j] = other[j], other[i]
		}
		if !slices.Contains(all, string(other)) && string(other) != string(text) {
			t.Fatalf("%s is one slip from %s, and not among the slips", string(other), string(text))
		}
	})
}
