package profile

import (
	"bytes"
	"fmt"

	"witnessmark/device"
	"witnessmark/device/frame"
)

// refusal is why a frame did not become a reading: one of the device.Reason constants and a sentence.
type refusal struct {
	reason, detail string
	other          bool // what must stand there does not: it is another kind of frame, or another wrench's
}

func badForm(format string, args ...any) *refusal {
	return &refusal{reason: device.ReasonForm, detail: fmt.Sprintf(format, args...)}
}

func badValue(format string, args ...any) *refusal {
	return &refusal{reason: device.ReasonValue, detail: fmt.Sprintf(format, args...)}
}

var faultDetails = map[string]string{
	device.ReasonTorn:    "the port closed in the middle of a frame",
	device.ReasonTooLong: "no end of frame within the %d bytes that the profile allows",
	device.ReasonNUL:     "found a NUL byte: a break, a wrong setting of the line, or a disturbed cable",
	device.ReasonNoise:   "found bytes outside of a frame: a wrong setting of the line, a disturbed cable, or another form of frame",
}

// Decode makes a reading of a frame, or says why there is none. The wrench is its id in this shop. Nothing in the
// result refers to the frame's bytes. It allocates the reading with what it points to, its Raw and its texts.
func (p *Profile) Decode(wrench string, f frame.Frame) Result {
	if f.Fault == device.ReasonNoise && p.ignores(bytes.TrimLeft(f.Bytes, "\r\n")) {
		return Result{Ignored: true}
	}
	if f.Fault != "" {
		detail := faultDetails[f.Fault]
		if f.Fault == device.ReasonTooLong {
			detail = fmt.Sprintf(detail, p.framing.longest)
		}
		return refused(wrench, f, &refusal{reason: f.Fault, detail: detail})
	}
	l, why := p.line(f.Bytes)
	switch {
	case l.ignored:
		return Result{Ignored: true}
	case why != nil:
		return refused(wrench, f, why)
	}
	d := draft{kept: new(kept)}
	if why := p.fields.read(f.Bytes, l, &d); why != nil {
		d.finish()
		res := refused(wrench, f, why)
		if !why.other {
			res.Answer = p.answerAnyway(&d.Reading)
		}
		return res
	}
	d.finish()
	r := &d.Reading
	r.Wrench, r.Raw, r.Profile = wrench, d.keepRaw(f.Bytes), p.spokenBy
	return Result{Reading: r}
}

func refused(wrench string, f frame.Frame, why *refusal) Result {
	return Result{Refusal: &device.Refusal{Wrench: wrench, Reason: why.reason, Detail: why.detail, Raw: rawOf(f)}}
}

func rawOf(f frame.Frame) []byte { return bytes.Clone(f.Bytes[:min(len(f.Bytes), device.MaxRaw)]) }

// body is where in a frame the fields stand.
type body struct {
	from, to int // without the lead and the check
	ignored  bool
}

// line finds the fields' place in a frame, and holds what guards it.
func (p *Profile) line(f []byte) (l body, why *refusal) {
	from, to, why := p.framing.cut(f, p.check.sum != nil && !p.check.hex)
	binary := p.fields.form == byBinary
	if !binary && from <= to && p.ignores(f[from:to]) {
		return body{ignored: true}, nil
	}
	if why != nil {
		return l, why
	}
	lead := p.fields.lead
	if !bytes.HasPrefix(f[from:to], lead) && !p.check.placed {
		return l, badForm("found a line that begins %.20q, expected it to begin %q", string(f[from:to]), string(lead))
	}
	if l.from, l.to, why = p.check.strip(f, from, to, len(lead)); why != nil {
		return l, why
	}
	if binary && p.ignores(f) {
		return body{ignored: true}, nil
	}
	if n := p.fields.reach; binary && p.framing.form == formGap && l.to != n {
		// Two frames without a pause between them: a CRC that begins with nought fits over both.
		return l, badForm("found %d bytes before the check, expected %d", l.to, n)
	}
	if !bytes.HasPrefix(f[l.from:l.to], lead) {
		return l, badForm("found a line that begins %.20q, expected it to begin %q", string(f[l.from:l.to]), string(lead))
	}
	if p.fields.form != byColumns {
		l.from += len(lead)
	}
	return l, nil
}

func (p *Profile) ignores(line []byte) bool {
	for _, prefix := range p.ignore {
		if bytes.HasPrefix(line, prefix) {
			return true
		}
	}
	return false
}

// read takes every field into the draft.
func (fs *fields) read(f []byte, l body, d *draft) *refusal {
	d.Direction, d.Unit = device.Tighten, fs.unit
	var all spans
	if why := fs.find(f, l, &all); why != nil {
		return why
	}
	for i := range fs.list {
		if why := fs.take(i, f, all[i], d); why != nil {
			fs.takeSpoken(f, i+1, &all, d)
			return why
		}
	}
	return d.settle()
}

// find is where every field stands. The forms are told apart here and not behind an interface: what is handed to one
// would be allocated.
func (fs *fields) find(f []byte, l body, all *spans) *refusal {
	switch fs.form {
	case bySeparator:
		return fs.findSeparated(f, l.from, l.to, all)
	case byColumns:
		return fs.findColumns(f, l.from, l.to, all)
	case byPattern:
		return fs.findGroups(f, l.from, l.to, all)
	case byJSON:
		return fs.findMembers(f, l.from, l.to, all)
	}
	return fs.findBytes(f, all)
}

// take reads one field.
func (fs *fields) take(i int, f []byte, at span, d *draft) *refusal {
	field := &fs.list[i]
	if field.kind == kindUnread {
		return nil
	}
	if at.from < 0 {
		return field.read(nil, d)
	}
	switch {
	case field.counted:
		return field.readCount(field.as.count(f[at.from:at.to]), d)
	case field.as.size > 0:
		t, why := field.as.write(f[at.from:at.to], &d.room)
		if why != nil {
			return why
		}
		return field.read(t, d)
	case fs.paths != nil && bytes.IndexByte(f[at.from:at.to], '\\') >= 0:
		t := []byte(unescaped(f[at.from:at.to]))
		return field.read(trim(t, spanOf(0, len(t))), d)
	}
	return field.read(trim(f, at), d)
}

// takeSpoken reads what an acknowledgement may repeat of the fields that come after a wrong one.
func (fs *fields) takeSpoken(f []byte, from int, all *spans, d *draft) {
	for i := from; i < len(fs.list); i++ {
		switch fs.list[i].kind {
		case kindCounter, kindSerial, kindTag:
			fs.take(i, f, all[i], d) // one that is wrong too is not repeated
		}
	}
}
