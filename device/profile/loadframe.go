package profile

import (
	"slices"
	"time"

	"witnessmark/device"
	"witnessmark/device/frame"
	"witnessmark/device/strictyaml"
)

// frame reads where a frame begins and ends. Its keys tell the form.
func (l *loader) frame(n strictyaml.Node) {
	m := n.Map("end", "start", "after", "length", "gap", "max")
	g := &l.p.framing
	has := func(key string) bool { _, ok := m.Get(key); return ok }
	length, _ := m.Get("length")
	switch {
	case has("gap"):
		none(m, "a silence ends this frame", "start", "end", "after", "length")
		g.form, g.gap = formGap, need(m, "gap", duration(5*time.Millisecond, time.Second))
	case length.IsMap():
		none(m, "the frame itself says where it ends", "end", "after")
		g.form, g.start, g.count = formCounted, maybe(m, "start", nil, short), readCount(length)
		if l.count, _ = length.FreeMap().Get("at"); g.count.At < len(g.start) {
			l.count.Faultf("found the length inside of the start, expected it behind")
		}
	case has("length"):
		none(m, "the length says where the frame ends", "end", "after", "max")
		g.form, g.start, g.length = formFixed, maybe(m, "start", nil, short), between(2, device.MaxRaw)(length)
		g.longest = g.length
		return
	case has("start") && has("end"):
		g.form, g.start, g.end = formBetween, need(m, "start", short), need(m, "end", short)
		g.after = maybe(m, "after", 0, between(0, 8))
		if end, _ := m.Get("end"); string(g.start) == string(g.end) && g.start != nil {
			end.Faultf("found %s for both start and end, expected two different ones", wireText(g.end))
		}
	default:
		end, ok := m.Need("end")
		if ok {
			none(m, "it has no meaning without start and end together", "after")
			g.readEnd(end)
		}
	}
	g.longest = need(m, "max", between(8, device.MaxRaw))
}

// readEnd reads what ends a line, or other text that ends a frame.
func (g *framing) readEnd(n strictyaml.Node) {
	s, _ := n.Text()
	if end := frame.Ending(s); slices.Contains(frame.Endings(), end) {
		g.form, g.line, g.end = formLine, end, end.Bytes()
		return
	}
	if onlyNames(s) {
		n.Faultf("found %q, expected %s, or text in which control characters stand in angle brackets, such as <ETX>", s, either(frame.Endings()))
		return
	}
	g.form, g.end = formEnded, short(n)
}

func readCount(n strictyaml.Node) (c frame.Count) {
	m := n.Map("at", "as", "order", "plus")
	c.At = need(m, "at", between(0, 64))
	c.Size = 1
	if need(m, "as", choose("u8", "u16")) == "u16" {
		c.Size = 2
	}
	if c.Size == 1 {
		none(m, "a single byte has no order", "order")
	}
	c.Little = maybe(m, "order", bigEnd, choose(bigEnd, littleEnd)) == littleEnd
	c.Plus = maybe(m, "plus", 0, between(0, device.MaxRaw))
	return c
}
