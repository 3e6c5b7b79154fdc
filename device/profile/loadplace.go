package profile

import (
	"strconv"
	"strings"

	"witnessmark/device/strictyaml"
)

// fieldPlace is where in the file a field and its place are drawn.
type fieldPlace struct {
	node, at strictyaml.Node
}

// place reads where a field stands.
func (l *loader) place(m strictyaml.Map, f *field, order byteOrder) {
	switch l.p.fields.form {
	case byColumns:
		f.at = need(m, "at", columnsAt)
	case byJSON:
		if f.kind == kindUnread {
			break
		}
		f.path = need(m, "at", dotted)
	case byBinary:
		at, known := 0, false
		if n, ok := m.Need("at"); ok {
			known = l.clean(func() { at = between(0, 511)(n) })
		}
		f.as = need(m, "as", numberAt)
		f.as.order = maybe(m, "order", order, choose(bigEnd, littleEnd, wordSwapped))
		f.as.turned = f.as.order != bigEnd
		if l.clean(func() { f.readBits(m) }) && known {
			f.at = spanOf(at, at+f.as.size)
		}
		switch f.kind {
		case kindTorque, kindAngle, kindBattery, kindCounter:
			f.counted = f.as.size > 0 && (f.as.kind == natural || f.as.kind == integer)
		}
		f.mustSuit(m)
	default:
		return
	}
	l.places[len(l.places)-1].at, _ = m.Get("at")
}

func columnsAt(n strictyaml.Node) span {
	low, high, ok := readRange(n)
	if ok && (low < 1 || high < low || high > 512) {
		ok = false
	}
	if !ok {
		if s, text := n.Text(); text {
			n.Faultf("found %.60q, expected the first and the last column, counted from 1, such as 3..9", s)
		}
		return span{}
	}
	return spanOf(low-1, high)
}

// readRange reads "3..9", or "3" for both ends of it.
func readRange(n strictyaml.Node) (low, high int, ok bool) {
	s, ok := n.Text()
	first, last, pair := strings.Cut(s, "..")
	if !pair {
		last = first
	}
	low, err := strconv.Atoi(first)
	high, other := strconv.Atoi(last)
	return low, high, ok && err == nil && other == nil
}

func numberAt(n strictyaml.Node) number {
	s, ok := n.Text()
	v, known := numberNamed(s)
	if ok && !known {
		n.Faultf("found %.60q, expected u8, i8, u16, i16, u32, i32, f32, f64, bcd1 to bcd%d or text1 to text%d", s, maxPacked, maxTextual)
		return number{}
	}
	return v
}

// readBits reads which bits of a whole number are meant.
func (f *field) readBits(m strictyaml.Map) {
	n, ok := m.Get("bit")
	if !ok {
		return
	}
	low, high, ok := readRange(n)
	switch {
	case f.as.size == 0:
	case f.as.kind != natural:
		n.Faultf("found bits of a number that is none of u8, u16 and u32, expected one of these")
	case !ok || low < 0 || high < low || high >= 8*f.as.size:
		n.Faultf("found bits outside of the number, expected one of 0 to %d or a range such as 0..2", 8*f.as.size-1)
	default:
		f.as.shift, f.as.bits = low, high-low+1
	}
}

// mustSuit faults a number that cannot say what the field means.
func (f *field) mustSuit(m strictyaml.Map) {
	at, _ := m.Get("as")
	switch {
	case f.as.size == 0:
	case f.as.kind == float && f.kind != kindTorque && f.kind != kindAngle && f.kind != kindBattery && f.kind != kindUnread:
		at.Faultf("found a float for %s, expected a whole number or text", f.kind)
	case f.as.order == wordSwapped && (f.as.size != 4 || f.as.kind == packed || f.as.kind == textual):
		if order, ok := m.Get("order"); ok {
			order.Faultf("found word-swapped, expected a number of 32 bits with it")
		}
	}
	epoch, ok := m.Get("epoch")
	switch {
	case ok:
		oneOf(epoch, "unix")
		f.unixTime = true
		if f.as.size > 0 && (f.as.kind != natural || f.as.size != 4 || f.as.bits > 0) {
			at.Faultf("found an epoch, expected u32 with it")
		}
	case f.kind == kindClock && f.as.size > 0 && f.as.kind != packed && f.as.kind != textual:
		at.Faultf("found a number for the clock, expected bcdN or textN, or epoch: unix with u32")
	}
}

// fieldsMustFit faults fields that stand in one another, or where something else stands.
func (l *loader) fieldsMustFit() {
	p := l.p
	fs := &p.fields
	if g := &p.framing; l.framed && g.form == formCounted && g.count.At > len(g.start) && fs.form != byBinary && fs.form != byColumns {
		l.count.Faultf("found the length inside of the line, expected it right behind the start of the frame")
	}
	switch {
	case len(l.places) != len(fs.list) || fs.has(""):
		return
	case fs.form == byJSON:
		l.pathsMustDiffer()
	case fs.form == byColumns || fs.form == byBinary:
		for i := range fs.list {
			l.fieldMustFit(i)
		}
	}
}

func (l *loader) fieldMustFit(i int) {
	p := l.p
	f, at := &p.fields.list[i], l.places[i].at
	if f.at == (span{}) {
		return // it could not be read
	}
	from, to := int(f.at.from), int(f.at.to)
	if p.fields.form == byColumns {
		from, to = from+p.framing.head(), to+p.framing.head()
	}
	for _, other := range p.fields.list[:i] {
		if f.meets(&other) {
			at.Faultf("found %s where %s stands, expected a place of its own", f.name, other.name)
			return
		}
	}
	if !l.framed {
		return
	}
	for _, taken := range l.taken() {
		if from < taken.to && to > taken.from {
			at.Faultf("found %s where %s stands, expected a place of its own", f.name, taken.what)
			return
		}
	}
	if room := p.framing.longest + p.check.reserves(&p.framing); to > room {
		at.Faultf("found %s outside of the frame, expected it within its %d bytes", f.name, p.framing.longest)
	}
}

// meets says whether two fields stand in the same bytes. Bits of the same number stand beside each other.
func (f *field) meets(other *field) bool {
	if f.at.from >= other.at.to || other.at.from >= f.at.to {
		return false
	}
	a, b := f.as, other.as
	apart := a.bits > 0 && b.bits > 0 && f.at == other.at && a.order == b.order &&
		(a.shift >= b.shift+b.bits || b.shift >= a.shift+a.bits)
	return !apart
}

// taken are the places in a frame, from its first byte, where no field can stand.
func (l *loader) taken() (all []takenPlace) {
	p := l.p
	g := &p.framing
	start := len(g.start)
	if start > 0 {
		all = append(all, takenPlace{0, start, "the start of the frame"})
	}
	if g.form == formCounted {
		all = append(all, takenPlace{g.count.At, g.count.At + g.count.Size, "the length of the frame"})
	}
	if lead := len(p.fields.lead); lead > 0 {
		all = append(all, takenPlace{g.head(), g.head() + lead, "the lead"})
	}
	if p.check.sum == nil {
		return all
	}
	at := p.check.at
	if !p.check.placed {
		at = p.check.usual(g)
	}
	if g.form == formFixed {
		at = fromEnd(at, g.length)
	}
	if at >= 0 {
		all = append(all, takenPlace{at, at + p.check.width(), "the check"})
	}
	return all
}

type takenPlace struct {
	from, to int
	what     string
}

// pathsMustDiffer faults a path that is another one, or goes through its value.
func (l *loader) pathsMustDiffer() {
	list := l.p.fields.list
	for i := range list {
		for j := range i {
			a, b := list[i].path, list[j].path
			n := min(len(a), len(b))
			if n > 0 && strings.Join(a[:n], ".") == strings.Join(b[:n], ".") {
				l.places[i].at.Faultf("found %s where %s stands, expected a place of its own", list[i].name, list[j].name)
				break
			}
		}
	}
}
