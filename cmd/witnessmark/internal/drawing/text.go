package drawing

import (
	"fmt"
	"math"
	"strings"
	"unicode/utf8"
)

// Text draws for a terminal of so many columns: the order as a number, the fastener's id behind it in brackets; a dot
// stands for a fastener that the stage leaves alone.
func (p Picture) Text(columns int) string {
	labels, cell := make([]string, len(p.spots)), 0
	for i, s := range p.spots {
		labels[i] = fmt.Sprintf("%d [%s]", s.turn, s.id)
		if s.turn == 0 {
			labels[i] = fmt.Sprintf("· [%s]", s.id)
		}
		cell = max(cell, utf8.RuneCountInString(labels[i]))
	}
	left, right, low, high := p.extent()
	gapX, gapY := p.gap()
	width := min(places(right-left, gapX)*(cell+2), max(columns-cell, 1))
	height := min(places(high-low, gapY)*2, 40)
	rows := make([][]rune, height+1)
	for i := range rows {
		rows[i] = []rune(strings.Repeat(" ", width+cell))
	}
	var crowded []string
	for i, s := range p.spots {
		x, y := scaled(s.x-left, right-left, width), scaled(high-s.y, high-low, height)
		if !write(rows[y][x:], labels[i]) {
			crowded = append(crowded, labels[i])
		}
	}
	var b strings.Builder
	for _, r := range rows {
		b.WriteString(strings.TrimRight(string(r), " ") + "\n")
	}
	if len(crowded) > 0 {
		fmt.Fprintf(&b, "no room in the drawing for: %s\n", strings.Join(crowded, ", "))
	}
	return b.String()
}

// places is how many gaps an extent holds.
func places(extent, gap float64) int {
	if gap == 0 {
		return 0
	}
	return int(math.Round(extent / gap))
}

func scaled(at, of float64, to int) int {
	if of == 0 {
		return 0
	}
	return int(math.Round(at / of * float64(to)))
}

// write puts a label where nothing stands yet.
func write(row []rune, label string) bool {
	runes := []rune(label)
	if len(runes) > len(row) || strings.TrimSpace(string(row[:len(runes)])) != "" {
		return false
	}
	copy(row, runes)
	return true
}
