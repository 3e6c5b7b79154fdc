package profile

import (
	"slices"
	"strconv"
	"time"

	"witnessmark/device/strictyaml"
)

// registers reads which registers hold the last reading. What they hold is a frame of that length.
func (l *loader) registers(n strictyaml.Node) {
	m := n.Map("unit", "table", "from", "count", "every", "changes", "accepted", "pass", "fail")
	r := &Registers{
		Unit:  uint8(need(m, "unit", between(0, 255))),
		Input: need(m, "table", choose("holding", "input")) == "input",
		From:  uint16(need(m, "from", between(0, 65535))),
		Count: uint16(need(m, "count", between(1, 125))),
		Every: need(m, "every", duration(20*time.Millisecond, time.Minute)),
	}
	if at, ok := m.Get("count"); ok && int(r.From)+int(r.Count) > 65536 {
		at.Faultf("found %d registers from %d, expected none beyond 65535", r.Count, r.From)
	}
	if at, ok := m.Get("unit"); ok && r.Unit > 247 && r.Unit < 255 {
		at.Faultf("found unit %d, expected 1 to 247; over TCP also 0 or 255", r.Unit)
	}
	need(m, "changes", line)
	r.Accepted, r.Pass, r.Fail = readWrite(m, "accepted"), readWrite(m, "pass"), readWrite(m, "fail")
	l.p.registers = r
	l.p.framing = framing{form: formFixed, length: 2 * int(r.Count), longest: 2 * int(r.Count)}
}

func readWrite(m strictyaml.Map, key string) *RegisterWrite {
	n, ok := m.Get(key)
	if !ok {
		return nil
	}
	m = n.Map("register", "value")
	w := &RegisterWrite{Register: uint16(need(m, "register", between(0, 65535)))}
	at, ok := m.Need("value")
	if !ok {
		return w
	}
	s, ok := at.Text()
	v, err := strconv.ParseUint(s, 10, 16)
	switch {
	case s == string(kindCounter):
		w.Counter = true
	case ok && err != nil:
		at.Faultf("found %.60q, expected a number from 0 to 65535, or counter", s)
	}
	w.Value = uint16(v)
	return w
}

// registersMustFit faults registers whose fields are not drawn for them.
func (l *loader) registersMustFit(n strictyaml.Node) {
	fs := &l.p.fields
	if !l.framed || !l.drawn {
		return
	}
	m := n.FreeMap()
	changes, _ := m.Get("changes")
	if fs.form != byBinary {
		n.Faultf("found fields by %s, expected binary ones: registers hold numbers", fs.form)
		return
	}
	l.fieldsMustFit()
	name, _ := changes.Text()
	i := slices.IndexFunc(fs.list, func(f field) bool { return f.kind == kindCounter && f.name == name })
	if i < 0 {
		changes.Faultf("found %.60q, expected the name of the counter field", name)
		return
	}
	f := fs.list[i]
	l.p.registers.Changes.Offset, l.p.registers.Changes.Size = int(f.at.from), f.as.size
	l.mustCount(m)
}

// mustCount faults an answer with a counter that may not be there.
func (l *loader) mustCount(m strictyaml.Map) {
	for _, key := range []string{"accepted", "pass", "fail"} {
		at, ok := m.Get(key)
		if !ok {
			continue
		}
		value, _ := at.FreeMap().Get("value")
		if s, _ := value.Text(); s == string(kindCounter) && slices.ContainsFunc(l.p.fields.list, func(f field) bool { return f.kind == kindCounter && f.optional }) {
			value.Faultf("found counter, expected a counter field that is not optional")
		}
	}
}
