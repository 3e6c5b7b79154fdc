package profile

import (
	"witnessmark/device/checksum"
	"witnessmark/device/frame"
	"witnessmark/device/strictyaml"
)

// check reads what guards a frame.
func (l *loader) check(n strictyaml.Node) {
	m := n.Map("kind", "over", "mark", "sent", "order", "at")
	c := &l.p.check
	before := l.faults()
	kind := need(m, "kind", choose(append([]string{checkNone}, checksum.Names()...)...))
	c.sum, _ = checksum.Named(kind)
	if kind == checkNone {
		none(m, "there is no check", "over", "mark", "sent", "order", "at")
		return
	}
	g := &l.p.framing
	c.hex = maybe(m, "sent", "", choose("hex", "bytes")) != "bytes"
	if _, ok := m.Get("sent"); !ok {
		c.hex = g.form == formLine || g.form == formEnded
	}
	c.low = maybe(m, "order", "high first", choose("high first", "low first")) == "low first"
	c.mark = maybe(m, "mark", nil, short)
	_, c.placed = m.Get("at")
	c.at = maybe(m, "at", 0, offset)
	c.behind = !c.placed && g.form == formBetween && g.after > 0
	if over, ok := m.Need("over"); ok {
		c.readCover(over)
	}
	if c.inner = len(g.start); c.inner == 0 {
		c.inner = len(l.p.fields.lead)
	}
	if l.framed && l.faults() == before {
		l.checkMustFit(m)
	}
}

func (c *check) readCover(n strictyaml.Node) {
	if !n.IsMap() {
		c.over = oneOf(n, coverInside, coverThrough, coverLine)
		return
	}
	m := n.Map("from", "to")
	c.over = coverRange
	c.from = need(m, "from", offset)
	c.to = maybe(m, "to", 0, offset)
	if to, ok := m.Get("to"); ok && (c.to == 0 || c.to > 0 == (c.from >= 0) && c.to <= c.from) {
		to.Faultf("found a range that ends where it begins or before, expected at least one byte in it")
	}
}

// offset counts bytes from the beginning of a frame, or from its end if it is negative.
func offset(n strictyaml.Node) int { return between(-512, 511)(n) }

// checkMustFit faults a check that the frames cannot hold.
func (l *loader) checkMustFit(m strictyaml.Map) {
	g, c := &l.p.framing, &l.p.check
	if l.p.mode.DataBits == 7 && !c.hex {
		c.mask = 0x7f
		if c.sum.Size() > 1 {
			m.Node().Faultf("found a check of %d bytes on a line of 7 bits, expected it to be sent as hex", c.sum.Size())
		}
	}
	if c.width() == 1 {
		none(m, "a single byte has no order", "order")
	}
	if c.behind {
		none(m, "the end of the frame is the mark of a check behind it", "mark")
		if c.width() != g.after {
			m.Node().Faultf("found a check of %d bytes, expected the %d that come after the end of the frame", c.width(), g.after)
		}
	}
	if c.placed {
		none(m, "the check has a place of its own", "mark")
	}
	over, _ := m.Get("over")
	if at, ok := m.Get("at"); !ok || l.placeMustFit(at, over) {
		l.rangeMustFit(over)
	}
}

// rangeMustFit faults a range that reaches out of the frame, or holds the check itself.
func (l *loader) rangeMustFit(over strictyaml.Node) {
	g, c := &l.p.framing, &l.p.check
	if c.over != coverRange {
		return
	}
	longest := g.longest
	from, to := fromEnd(c.from, longest), c.to
	if to <= 0 {
		to += longest
	}
	switch {
	case from < 0 || to > longest || from >= to:
		over.Faultf("found a range outside of the frame, expected it within its %d bytes", longest)
	case c.coversItself(g):
		over.Faultf("found a range that holds the check itself, expected one beside it")
	}
}

// placeMustFit faults a check that stands outside of the frame, in what frames it, or in the middle of the fields.
func (l *loader) placeMustFit(at, over strictyaml.Node) bool {
	g, c := &l.p.framing, &l.p.check
	width := c.width()
	first, last := c.at == g.head(), c.at == c.usual(g)
	form := l.p.fields.form
	switch {
	case c.at >= 0 && c.at+width > g.longest, c.at < 0 && -c.at > g.longest, c.at < 0 && -c.at < width:
		at.Faultf("found a check outside of the frame, expected it within its %d bytes", g.longest)
	case c.at >= 0 && c.at < len(g.start):
		at.Faultf("found the check in the start of the frame, expected it behind")
	case c.at >= 0 && g.form == formCounted && c.at < g.count.At+g.count.Size && c.at+width > g.count.At:
		at.Faultf("found the check in the length of the frame, expected it beside")
	case c.over != coverRange:
		over.Faultf("found %s, expected a range such as {from: 1, to: -2}: the check has a place of its own", c.over)
	case l.drawn && !first && !last && form != byBinary && (form != byColumns || c.at < 0):
		at.Faultf("found a check inside of the line, expected it at its beginning or its end")
	default:
		return true
	}
	return false
}

// usual is the place from the end of a frame where a check stands that has no place of its own.
func (c *check) usual(g *framing) int {
	switch {
	case c.behind:
		return -g.after
	case g.form == formLine && g.line == frame.AnyEnd:
		return -c.width() - 1
	}
	return -c.width() - len(g.end) - g.after
}

// reserves is where, counted back from the end of a frame, what stands behind the line begins.
func (c *check) reserves(g *framing) int {
	if c.sum == nil || c.placed || c.behind {
		return -len(g.end) - g.after
	}
	return c.usual(g) - len(c.mark)
}

// coversItself says so only where the frame's length does not matter, or is known.
func (c *check) coversItself(g *framing) bool {
	at, from, to := c.at, c.from, c.to
	if !c.placed {
		at = c.usual(g)
	}
	switch {
	case g.form == formFixed:
		at, from = fromEnd(at, g.length), fromEnd(from, g.length)
		if to <= 0 {
			to += g.length
		}
	case at < 0 && to <= 0: // both count from the end
		return to > at && (from >= 0 || from < at+c.width())
	case at < 0 || to <= 0:
		return at >= 0 && from >= 0 && from < at+c.width()
	}
	return at < to && from < at+c.width()
}
