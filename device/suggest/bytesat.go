package suggest

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// bytesAt is integers and floats at offsets of the frame.
type bytesAt struct {
	frames [][]byte
	from   int // the first byte behind start and length
	to     int // the end of what is not the check, counted from the end of the frame
	short  int // the length of the shortest frame
	sort   int // the byte that tells these frames from others; -1: none
	length column
	gapped bool
}

// binaryTables takes the frames whose check is right: all of them together, and then, for every byte near the beginning
// that could tell sorts of frames apart, those of each sort.
func binaryTables(c cut, s seal, least int) (tables []table) {
	if c.line {
		return nil
	}
	var all []sample
	for _, f := range c.samples {
		if b, ok := body(c, s, f.bytes); ok && len(b) > 0 && (s.none() || s.fit(f.bytes)) {
			all = append(all, f)
		}
	}
	_, length := usual(all)
	all = slices.DeleteFunc(all, func(f sample) bool { return len(f.bytes) < length })
	add := func(some []sample, sort int) {
		if len(some) >= max(least, 1) {
			tables = append(tables, binaryTable(c, s, some, sort))
		}
	}
	add(all, -1)
	for at := c.head; at < c.head+nearStart; at++ {
		values := bytesOf(all, at)
		for _, v := range values {
			if len(values) > 1 && len(values) <= mostSorts {
				add(slices.DeleteFunc(slices.Clone(all), func(f sample) bool { return f.bytes[at] != v }), at)
			}
		}
	}
	return tables
}

// nearStart is in how many bytes from the beginning a frame says of what sort it is.
const nearStart = 3

// bytesOf is the bytes that stand at a place, each once; none if some frame is too short.
func bytesOf(all []sample, at int) (values []byte) {
	for _, f := range all {
		if at >= len(f.bytes) {
			return nil
		}
		if !slices.Contains(values, f.bytes[at]) {
			values = append(values, f.bytes[at])
		}
	}
	return values
}

func binaryTable(c cut, s seal, samples []sample, sort int) table {
	l := &bytesAt{from: c.head, to: -len(c.end) - c.after, short: math.MaxInt, sort: sort, length: c.length, gapped: c.gapped}
	if !s.none() {
		l.to = min(l.to, s.at)
	}
	for _, f := range samples {
		l.frames = append(l.frames, f.bytes)
		l.short = min(l.short, len(f.bytes))
	}
	t := table{layout: l, samples: samples}
	if sort >= 0 {
		t.sort = fmt.Sprintf("byte %d=%d", sort, samples[0].bytes[sort])
	}
	return t
}

func (l *bytesAt) form() string { return "binary" }

func (l *bytesAt) extent(_ int, c column) (from, to int) { return c.from, c.to }

func (l *bytesAt) columns() (all []column) {
	for at := l.from; at < l.short+l.to; at++ {
		for _, w := range waysToRead {
			if c, ok := l.column(at, w); ok {
				all = append(all, c)
			}
		}
	}
	return all
}

func (l *bytesAt) column(at int, w as) (column, bool) {
	c := column{from: at, to: at + w.size, cost: w.cost, binary: true, signed: w.signed}
	if c.to > l.short+l.to || c.overlaps(l.length) {
		return column{}, false
	}
	c.place = fmt.Sprintf("at: %d, as: %s", at, w.name)
	if w.order != "" {
		c.place += ", order: " + w.order
	}
	c.called = bytesCalled(at, w.size)
	unread := 0
	for _, f := range l.frames {
		text, ok := w.read(f[at : at+w.size])
		if !ok {
			text = ""
			if unread++; unread*mostUnread > len(l.frames) {
				return column{}, false
			}
		}
		c.cells = append(c.cells, text)
	}
	return c, true
}

// mostUnread is one in how many frames may hold bytes that cannot be read so.
const mostUnread = 6

func bytesCalled(at, size int) string {
	if size == 1 {
		return fmt.Sprintf("byte %d", at)
	}
	return fmt.Sprintf("bytes %d to %d", at, at+size-1)
}

// rest is what may be recognised by itself: counters, clocks and text.
func (l *bytesAt) rest(taken []column) (free []column) {
	keep := func(c column, ok bool) {
		if ok && !c.overlapsAny(taken) && !c.overlapsAny(free) {
			free = append(free, c)
		}
	}
	if l.sort >= l.from {
		c, ok := l.column(l.sort, oneByte)
		c.sort = true
		keep(c, ok)
	}
	for at := l.from; at < l.short+l.to; at++ {
		keep(l.unitText(at))
	}
	for at := l.from; at < l.short+l.to; at++ {
		keep(l.text(at))
		keep(l.unixTime(at))
		keep(l.packedClock(at))
	}
	for _, size := range []int{2, 1} {
		for at := l.from; at < l.short+l.to; at++ {
			for _, w := range waysToRead {
				if w.size == size && w.name == fmt.Sprintf("u%d", 8*size) && l.sameOrder(w, taken) {
					c, ok := l.column(at, w)
					keep(c, ok && rises(c.cells) && !l.swallows(c))
				}
			}
		}
	}
	for at := l.from; at < l.short+l.to; at++ {
		c, ok := l.column(at, oneByte)
		keep(c, ok)
	}
	slices.SortFunc(free, func(a, b column) int { return a.from - b.from })
	return free
}

// bits are the single bits of the bytes that were not taken: one of them may tell the direction.
func (l *bytesAt) bits(taken []column) (all []column) {
	for at := l.from; at < l.short+l.to; at++ {
		if (column{from: at, to: at + 1}).overlapsAny(taken) {
			continue
		}
		for bit := range 8 {
			w := as{name: "u8", size: 1, read: func(b []byte) (string, bool) { return whole(int64(b[0]>>bit) & 1) }}
			if c, ok := l.column(at, w); ok {
				c.place += fmt.Sprintf(", bit: %d", bit)
				c.called = fmt.Sprintf("bit %d of byte %d", bit, at)
				all = append(all, c)
			}
		}
	}
	return all
}

// sameOrder says whether nothing was taken with the other end first: a device writes all its numbers alike.
func (l *bytesAt) sameOrder(w as, taken []column) bool {
	return w.order == "" || !slices.ContainsFunc(taken, func(c column) bool {
		return strings.Contains(c.place, "order: ") && !strings.Contains(c.place, "order: "+w.order)
	})
}

// room says whether the two bytes that would be the high ones of a longer number were always nought.
func (l *bytesAt) room(c column) bool {
	at := c.from - 2
	if strings.Contains(c.place, "order: little") {
		at = c.to
	}
	if c.to-c.from != 2 || at < l.from || at+2 > l.short+l.to {
		return false
	}
	nought := func(b byte) bool { return b == 0 }
	return l.all(at, nought) && l.all(at+1, nought)
}

// swallows says whether the high byte of a counter never changes and is not nought: it may be something else.
func (l *bytesAt) swallows(c column) bool {
	if c.to-c.from == 1 {
		return false
	}
	first, _ := strconv.Atoi(c.cells[0])
	last, _ := strconv.Atoi(c.cells[len(c.cells)-1])
	return first>>8 == last>>8 && first>>8 != 0
}

// write names the last byte too where nothing but the fields says how long a frame is.
func (l *bytesAt) write(fields []field) []string {
	end := l.short + l.to
	last := column{from: end - 1, to: end, place: fmt.Sprintf("at: %d, as: u8", end-1)}
	if l.gapped && !slices.ContainsFunc(fields, func(f field) bool { return f.overlaps(last) }) {
		fields = append(slices.Clone(fields), field{column: last, kind: "unread", name: "rest", told: fmt.Sprintf("byte %d is the last one", end-1)})
	}
	return append([]string{"fields:", "  binary: true"}, list(fields)...)
}
