package store

import (
	"slices"
	"strings"
)

// plainText is what the function plain of the schema makes of a text.
var plainText = func() func(string) string {
	pairs := []string{"O", "0", "o", "0", "Q", "0", "q", "0", "I", "1", "i", "1"}
	for _, c := range " -_./:" {
		pairs = append(pairs, string(c), "")
	}
	for c := 'a'; c <= 'z'; c++ {
		if c != 'o' && c != 'q' && c != 'i' {
			pairs = append(pairs, string(c), strings.ToUpper(string(c)))
		}
	}
	return strings.NewReplacer(pairs...).Replace
}()

// alphabet is what a plain serial is made of: O, Q and I are digits in it.
const alphabet = "0123456789ABCDEFGHJKLMNPRSTUVWXYZ"

// slips are all texts that one slip makes of a text: a character wrong, missing or too many, or two that changed places.
func slips(text string) []string {
	t := []rune(text)
	var out []string
	put := func(parts ...[]rune) { out = append(out, string(slices.Concat(parts...))) }
	for i := range len(t) + 1 {
		for _, c := range alphabet {
			put(t[:i], []rune{c}, t[i:])
			if i < len(t) {
				put(t[:i], []rune{c}, t[i+1:])
			}
		}
		if i < len(t) {
			put(t[:i], t[i+1:])
		}
		if i+1 < len(t) {
			put(t[:i], []rune{t[i+1], t[i]}, t[i+2:])
		}
	}
	return out
}

// distance is the number of slips between two texts (optimal string alignment); above most it may be any number above it.
func distance(a, b string, most int) int {
	if len(a) > len(b)+4*most || len(b) > len(a)+4*most { // a rune has four bytes at most
		return most + 1
	}
	x, y := []rune(a), []rune(b)
	if d := len(x) - len(y); d > most || -d > most {
		return most + 1
	}
	width := len(y) + 1
	table := make([]int, 3*width) // the row before the last one, the last one, this one
	before, last, row := table[:width], table[width:2*width], table[2*width:]
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(x); i++ {
		row[0] = i
		least := i
		for j := 1; j <= len(y); j++ {
			other := 1
			if x[i-1] == y[j-1] {
				other = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+other)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
			least = min(least, row[j])
		}
		before, last, row = last, row, before
		if least > most+1 { // a swap may still win one back
			return most + 1
		}
	}
	return last[len(y)]
}
