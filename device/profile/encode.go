package profile

import (
	"bytes"
	"encoding/json"
	"strings"

	"witnessmark/device"
)

// Encode writes a reading as the wrench does, ending included: the inverse of Decode, for a simulated wrench. The
// torque is written by its text and unit if the form has that unit, else in the form's first unit and decimals. What
// the form has no field for is left out; text that holds the separator gives a frame that Decode refuses. nil: the
// form has no room for the reading.
func (p *Profile) Encode(r device.Reading) []byte {
	texts := p.fields.write(&r)
	var f []byte
	if p.fields.form == byBinary {
		f = p.composeBytes(texts)
	} else if line, ok := p.compose(texts); ok {
		f = p.framing.wrap(line)
	}
	if f == nil {
		return nil
	}
	from, to, why := p.framing.cut(f, p.check.sum != nil && !p.check.hex)
	if why != nil || !p.check.seal(f, from, to, len(p.fields.lead)) {
		return nil
	}
	return f
}

// compose writes the line with room for its check.
func (p *Profile) compose(texts []string) (line []byte, ok bool) {
	fs := &p.fields
	switch fs.form {
	case byColumns:
		line, ok = fs.composeColumns(texts)
	case byPattern:
		line, ok = fs.pattern.compose(texts)
		line = append(bytes.Clone(fs.lead), line...)
	case byJSON:
		line, ok = append(bytes.Clone(fs.lead), fs.composeMembers(texts)...), true
	default:
		line, ok = append(bytes.Clone(fs.lead), strings.Join(texts, string(fs.separator))...), true
	}
	room := 0
	if p.check.sum != nil && !p.check.behind {
		room = p.check.width() + len(p.check.mark)
	}
	if p.framing.form == formFixed {
		blanks := p.framing.length - len(p.framing.start) - room - len(line)
		if blanks < 0 {
			return nil, false
		}
		line = append(line, bytes.Repeat([]byte(" "), blanks)...)
	}
	return p.makeRoom(line, room), ok
}

// makeRoom opens a place for the check: behind the line, or where it is placed. Columns leave it free themselves.
func (p *Profile) makeRoom(line []byte, room int) []byte {
	switch at := p.check.at - p.framing.head(); {
	case !p.check.placed || p.check.at < 0:
		return append(line, make([]byte, room)...)
	case p.fields.form == byColumns:
		return append(line, bytes.Repeat([]byte(" "), max(0, at+room-len(line)))...)
	}
	return append(make([]byte, room), line...)
}

func (p *Profile) composeBytes(texts []string) []byte {
	g := &p.framing
	n := g.length
	if g.form != formFixed {
		n = max(p.fields.reach, g.count.At+g.count.Size, len(g.start))
		if p.check.placed && p.check.at >= 0 {
			n = max(n, p.check.at+p.check.width())
		} else {
			n += p.check.width()
		}
	}
	f := make([]byte, n)
	copy(f, g.start)
	for i := range p.fields.list {
		field := &p.fields.list[i]
		if texts[i] != "" && !field.as.read(texts[i], f[field.at.from:field.at.to]) {
			return nil
		}
	}
	if len(f) > g.longest {
		return nil
	}
	if g.form == formCounted {
		g.setCount(f)
	}
	return f
}

func (fs *fields) composeColumns(texts []string) ([]byte, bool) {
	line := bytes.Repeat([]byte(" "), fs.reach)
	copy(line, fs.lead)
	for i, t := range texts {
		at := fs.list[i].at
		width := int(at.to - at.from)
		if len(t) > width {
			return nil, false
		}
		begin := int(at.from)
		switch fs.list[i].kind {
		case kindTorque, kindAngle, kindCounter, kindBattery:
			begin = int(at.to) - len(t) // numbers stand at the right
		}
		copy(line[begin:], t)
	}
	return line, true
}

// composeMembers writes the object whose members the fields are.
func (fs *fields) composeMembers(texts []string) []byte {
	var b []byte
	return fs.paths.write(b, fs, texts)
}

func (m *member) write(b []byte, fs *fields, texts []string) []byte {
	if m.field >= 0 {
		return appendJSON(b, &fs.list[m.field], texts[m.field])
	}
	if m.isList() {
		return m.writeList(b, fs, texts)
	}
	b = append(b, '{')
	for i := range m.below {
		below := &m.below[i]
		if below.field >= 0 && texts[below.field] == "" {
			continue
		}
		if b[len(b)-1] != '{' {
			b = append(b, ',')
		}
		key, _ := json.Marshal(below.key)
		b = append(append(b, key...), ':')
		b = below.write(b, fs, texts)
	}
	return append(b, '}')
}

func (m *member) isList() bool {
	for i := range m.below {
		if m.below[i].index < 0 {
			return false
		}
	}
	return len(m.below) > 0
}

func (m *member) writeList(b []byte, fs *fields, texts []string) []byte {
	last := 0
	for i := range m.below {
		last = max(last, m.below[i].index)
	}
	b = append(b, '[')
	for i := range last + 1 {
		if i > 0 {
			b = append(b, ',')
		}
		if at := m.numbered(i); at != nil {
			b = at.write(b, fs, texts)
		} else {
			b = append(b, "null"...)
		}
	}
	return append(b, ']')
}

// appendJSON writes a number as a number if JSON knows it as one, true and false as what they are, anything else as a
// string.
func appendJSON(b []byte, f *field, text string) []byte {
	switch f.kind {
	case kindTorque, kindAngle, kindCounter, kindBattery, kindStored:
		if json.Valid([]byte(text)) {
			return append(b, text...)
		}
	}
	if text == "" {
		return append(b, "null"...)
	}
	s, _ := json.Marshal(text)
	return append(b, s...)
}
