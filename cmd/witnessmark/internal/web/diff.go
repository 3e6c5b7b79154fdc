package web

import (
	"strings"

	"github.com/kylelemons/godebug/diff"
)

// change is a line that one text has and the other has not, or that both have.
type change struct {
	Kind string // added, removed, same, or gap: lines alike that are left out
	Text string
	N    int // how many are left out
}

// around is how many lines alike are shown before and after a change, or before and after a fault.
const around = 2

// changes lists the lines that make one text the other, with a few lines alike around them; nothing for the same text.
func changes(old, now string) (out []change) {
	chunks := diff.DiffChunks(strings.Split(old, "\n"), strings.Split(now, "\n"))
	for i, c := range chunks {
		out = append(out, kind("removed", c.Deleted)...)
		out = append(out, kind("added", c.Added)...)
		head, tail := around, around
		if i == 0 && len(c.Deleted)+len(c.Added) == 0 {
			head = 0
		}
		if i == len(chunks)-1 {
			tail = 0
		}
		out = append(out, alike(c.Equal, head, tail)...)
	}
	return out
}

// alike leaves out the middle of lines that both texts have.
func alike(lines []string, head, tail int) []change {
	if len(lines) <= head+tail+1 {
		return kind("same", lines)
	}
	out := append(kind("same", lines[:head]), change{Kind: "gap", N: len(lines) - head - tail})
	return append(out, kind("same", lines[len(lines)-tail:])...)
}

func kind(of string, lines []string) []change {
	out := make([]change, len(lines))
	for i, l := range lines {
		out[i] = change{Kind: of, Text: l}
	}
	return out
}
