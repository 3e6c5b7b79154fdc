// Package sketch draws a frame as a technician looks at it: the bytes in rows, and under them what each became.
//
//	31 30 34 32 3b 34 35 2e 32 3b 4e 6d
//	1  0  4  2  ;  4  5  .  2  ;  N  m
//	├─────────┘    ├─────────┘    ├───┘
//	│              │              ╰ unit N·m
//	│              ╰ final torque 45.2 N·m
//	╰ counter 1042
//
// A row ends where a part ends, if there is a choice; what no part covers has nothing under it.
package sketch

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Part is the bytes [From, To) of a frame and what they are, for people.
type Part struct {
	From, To int
	Label    string
}

// Look is how a frame is drawn.
type Look struct {
	Width  int  // columns at hand; labels are wrapped to it
	Colour bool // with the colour codes of ECMA-48, a colour for each part in turn
}

// perRow bounds the bytes of a row of Hex: to the right of the last one there must be room for what it is.
const perRow = 16

// textRow bounds the columns that the bytes of a row of Text take, for the same reason.
const textRow = 56

// Hex draws two lines of bytes, as hexadecimal digits and as characters.
func Hex(b []byte, parts []Part, l Look) []string {
	cells := make([][]string, len(b))
	for i, c := range b {
		cells[i] = []string{fmt.Sprintf("%02x", c), character(c)}
	}
	return draw(cells, parts, l, 1, perRow*3)
}

// Text draws the frame as a profile writes it, bytes that are no character by their names.
func Text(b []byte, parts []Part, l Look) []string {
	cells := make([][]string, len(b))
	for i, c := range b {
		cells[i] = []string{Name(c)}
	}
	return draw(cells, parts, l, 0, textRow)
}

// character is a byte as one character; those that have none are drawn as a dot, CR and LF by their symbols.
func character(c byte) string {
	switch {
	case c == '\r':
		return "␍"
	case c == '\n':
		return "␊"
	case c == ' ':
		return "␣"
	case c < ' ' || c > '~':
		return "·"
	}
	return string(rune(c))
}

func draw(cells [][]string, parts []Part, l Look, gap, limit int) (lines []string) {
	parts = slices.DeleteFunc(slices.Clone(parts), func(p Part) bool { return p.From < 0 || p.To > len(cells) || p.From >= p.To })
	slices.SortStableFunc(parts, func(a, b Part) int { return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(b.To, a.To)) })
	for from := 0; from < len(cells); {
		to := rowEnd(cells, parts, from, gap, limit)
		r := newRow(cells, from, to, gap)
		r.brackets(parts)
		r.labels(parts, l.Width)
		lines = append(lines, r.lines(l.Colour)...)
		from = to
	}
	return lines
}

// rowEnd is where the row ends that begins at from: before the part that does not fit any more, unless it would fit in
// no row.
func rowEnd(cells [][]string, parts []Part, from, gap, limit int) int {
	to := from + 1
	for to < len(cells) && columns(cells[from:to+1], gap) <= limit {
		to++
	}
	if to == len(cells) {
		return to
	}
	for _, p := range parts {
		if p.From > from && p.From < to && p.To > to && columns(cells[p.From:p.To], gap) <= limit {
			return p.From
		}
	}
	return to
}

func columns(cells [][]string, gap int) (n int) {
	for _, cell := range cells {
		n += len(cell[0]) + gap
	}
	return n
}

// row is one row of bytes with what hangs under it, as a grid of characters.
type row struct {
	from, to int
	left     []int // the column in which each byte begins
	right    []int // the column in which it ends
	grid     [][]glyph
	depth    int // lines of bytes
}

// glyph is a character and the part that it belongs to, -1: none.
type glyph struct {
	text rune
	part int
}

func newRow(cells [][]string, from, to, gap int) *row {
	r := &row{from: from, to: to, depth: len(cells[from])}
	x := 0
	for _, cell := range cells[from:to] {
		r.left = append(r.left, x)
		for y, text := range cell {
			r.put(x, y, text, -1)
		}
		x += len(cell[0])
		r.right = append(r.right, x-1)
		x += gap
	}
	return r
}

func (r *row) put(x, y int, text string, part int) {
	for len(r.grid) <= y {
		r.grid = append(r.grid, nil)
	}
	for _, c := range text {
		for len(r.grid[y]) <= x {
			r.grid[y] = append(r.grid[y], glyph{' ', -1})
		}
		r.grid[y][x] = glyph{c, part}
		x++
	}
}

// brackets draws what belongs together, and gives the bytes above the colour of their part.
func (r *row) brackets(parts []Part) {
	for i, p := range parts {
		if p.From >= r.to || p.To <= r.from {
			continue
		}
		a := r.left[max(p.From, r.from)-r.from]
		z := r.right[min(p.To, r.to)-1-r.from]
		for y := range r.depth {
			for x := a; x <= z && x < len(r.grid[y]); x++ {
				r.grid[y][x].part = i
			}
		}
		r.put(a, r.depth, bracket(z-a+1, p.From >= r.from, p.To <= r.to), i)
	}
}

// bracket is so many columns wide; where a part begins or ends in another row it is left open.
func bracket(width int, begins, ends bool) string {
	if width == 1 {
		return "│"
	}
	first, last := "├", "┘"
	if !begins {
		first = "┄"
	}
	if !ends {
		last = "┄"
	}
	return first + strings.Repeat("─", width-2) + last
}

// labels hangs the labels under the brackets, the rightmost on top. Parts that begin at one byte share a stem.
func (r *row) labels(parts []Part, width int) {
	var stems []int // indices of the parts that begin in this row
	for i, p := range parts {
		if p.From >= r.from && p.From < r.to {
			stems = append(stems, i)
		}
	}
	y := r.depth + 1
	for n := len(stems) - 1; n >= 0; n-- {
		i := stems[n]
		x := r.left[parts[i].From-r.from]
		for k, text := range wrap(parts[i].Label, width-x-2) {
			for _, other := range stems[:n] {
				r.put(r.left[parts[other].From-r.from], y, "│", other)
			}
			switch shared := n > 0 && parts[stems[n-1]].From == parts[i].From; {
			case k == 0 && shared:
				r.put(x, y, "├ ", i)
			case k == 0:
				r.put(x, y, "╰ ", i)
			}
			r.put(x+2, y, text, i)
			y++
		}
	}
}

// wrap breaks text between words into lines of at most width columns; a word that is longer stands alone.
func wrap(text string, width int) (lines []string) {
	line := ""
	for _, word := range strings.Fields(text) {
		if line != "" && len([]rune(line))+1+len([]rune(word)) > width {
			lines, line = append(lines, line), ""
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	return append(lines, line)
}

// palette is the colours of the parts in turn: cyan, green, yellow, magenta, blue.
var palette = []int{36, 32, 33, 35, 34}

func (r *row) lines(colour bool) (lines []string) {
	for _, glyphs := range r.grid {
		var b strings.Builder
		now := -1
		for _, g := range glyphs {
			if colour && g.part != now {
				if now >= 0 {
					b.WriteString("\x1b[0m")
				}
				if g.part >= 0 {
					fmt.Fprintf(&b, "\x1b[%dm", palette[g.part%len(palette)])
				}
				now = g.part
			}
			b.WriteRune(g.text)
		}
		text := strings.TrimRight(b.String(), " ")
		if now >= 0 {
			text += "\x1b[0m"
		}
		lines = append(lines, text)
	}
	return lines
}
