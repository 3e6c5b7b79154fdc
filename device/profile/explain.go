package profile

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"

	"witnessmark/device"
	"witnessmark/device/frame"
	"witnessmark/device/unit"
)

// Explanation says for people what the bytes of a frame are, and what became of it.
type Explanation struct {
	Parts  []Part // in order, and none left out; bits of one number stand in the same bytes
	Result Result // as Decode gives it, of no wrench
}

// Part is some bytes of a frame.
type Part struct {
	From, To int    // bytes [From,To) of the frame
	Name     string // what they are: the field's name, "check CRC-16/MODBUS", "end of the frame"
	Meaning  string // what they say: "45.2 N·m", "fits"; may be empty
}

// Explain takes a frame apart for people. Fields are told even where the check does not fit, and as far as they could be
// found where the form does not: that helps who writes the profile.
func (p *Profile) Explain(f frame.Frame) Explanation {
	e := explainer{p: p, f: f.Bytes}
	result := p.Decode("", f)
	switch {
	case result.Ignored:
		e.add(0, len(f.Bytes), "ignored", "the profile names it as no reading")
	case f.Fault != "":
		e.add(0, len(f.Bytes), f.Fault, result.Refusal.Detail)
	default:
		e.frame()
	}
	return Explanation{e.inOrder(), result}
}

// explainer gathers parts.
type explainer struct {
	p     *Profile
	f     []byte
	parts []Part
}

func (e *explainer) add(from, to int, name, meaning string) {
	if from < to {
		e.parts = append(e.parts, Part{from, to, name, meaning})
	}
}

// frame names what frames a line, and then what stands in it.
func (e *explainer) frame() {
	g, c := &e.p.framing, &e.p.check
	from, to, why := g.cut(e.f, c.sum != nil && !c.hex)
	if why != nil {
		e.add(0, len(e.f), "frame", why.detail)
		return
	}
	e.add(0, len(g.start), "start of the frame", "")
	if g.form == formCounted {
		e.add(g.count.At, g.count.At+g.count.Size, "length of the frame", fmt.Sprintf("%d bytes in all", g.counted(e.f)))
	}
	behind := len(e.f)
	if c.behind {
		behind -= c.width()
	}
	e.add(to, behind, "end of the frame", "")
	at, why := c.place(e.f, from, to, len(e.p.fields.lead))
	if why != nil {
		e.add(from, to, "line", why.detail)
		return
	}
	if c.sum != nil {
		e.check(at, from, to)
	}
	e.line(at.head, at.tail)
}

func (e *explainer) check(at guard, from, to int) {
	c := &e.p.check
	meaning := "fits"
	if _, _, why := c.strip(e.f, from, to, len(e.p.fields.lead)); why != nil {
		meaning = why.detail
	}
	if !c.placed && !c.behind {
		e.add(at.tail, at.at, "mark of the check", "")
	}
	e.add(at.at, at.at+c.width(), "check "+c.sum.Name(), meaning)
}

// line names the fields.
func (e *explainer) line(from, to int) {
	fs := &e.p.fields
	if !bytes.HasPrefix(e.f[from:to], fs.lead) {
		e.add(from, to, "line", fmt.Sprintf("does not begin %q", string(fs.lead)))
		return
	}
	e.add(from, from+len(fs.lead), "lead", "")
	if fs.form != byColumns {
		from += len(fs.lead)
	}
	var all spans
	for i := range all {
		all[i] = span{-1, -1}
	}
	d := draft{kept: new(kept)}
	d.Unit = fs.unit
	nowhere := fs.find(e.f, body{from: from, to: to}, &all)
	whys := make([]*refusal, len(fs.list))
	for i := range fs.list {
		if all[i].from >= 0 {
			whys[i] = fs.take(i, e.f, all[i], &d)
		}
	}
	torque := d.settle()
	d.finish()
	for i := range fs.list {
		f := &fs.list[i]
		meaning := f.say(&d.Reading)
		switch {
		case whys[i] != nil:
			meaning = whys[i].detail
		case f.kind == kindTorque && torque != nil && d.Unit != "":
			meaning = torque.detail
		}
		e.add(int(all[i].from), int(all[i].to), f.name, meaning)
	}
	e.between(from, to, nowhere)
}

// between names what stands between the fields.
func (e *explainer) between(from, to int, nowhere *refusal) {
	at := from
	for _, part := range e.sorted() {
		if part.From >= from && part.To <= to {
			e.gap(at, part.From, nowhere)
			at = max(at, part.To)
		}
	}
	e.gap(at, to, nowhere)
}

func (e *explainer) gap(from, to int, nowhere *refusal) {
	fs := &e.p.fields
	if from >= to {
		return
	}
	apart := fs.form == bySeparator && len(bytes.Trim(bytes.ReplaceAll(e.f[from:to], fs.separator, nil), " ")) == 0
	switch {
	case apart:
		e.add(from, to, "separator", "")
	case nowhere != nil:
		e.add(from, to, "not understood", nowhere.detail)
	case fs.form == byPattern:
		e.add(from, to, "text of the pattern", "")
	case fs.form == byJSON:
		e.add(from, to, "JSON", "")
	default:
		e.add(from, to, "not looked at", "")
	}
}

func (e *explainer) sorted() []Part {
	return slices.SortedStableFunc(slices.Values(e.parts), func(a, b Part) int { return cmp.Compare(a.From, b.From) })
}

// inOrder sorts the parts and names what is left.
func (e *explainer) inOrder() []Part {
	at := 0
	for _, part := range e.sorted() {
		e.add(at, part.From, "not looked at", "")
		at = max(at, part.To)
	}
	e.add(at, len(e.f), "not looked at", "")
	return e.sorted()
}

// say tells the value of a field in a reading.
func (f *field) say(r *device.Reading) string {
	said := ""
	switch f.kind {
	case kindTorque:
		return sayTorque(r)
	case kindUnit:
		said = string(r.Unit)
	case kindAngle:
		if r.Angle != nil {
			said = r.Angle.String()
		}
	case kindDirection:
		said = string(r.Direction)
	case kindCounter:
		if r.Counter != nil {
			said = fmt.Sprint(*r.Counter)
		}
	case kindBattery:
		if r.Battery != nil {
			said = fmt.Sprintf("%d %%", *r.Battery)
		}
	case kindJudgement:
		said = string(r.Judged)
	case kindStored:
		said = "sent at once"
		if r.Stored {
			said = "kept in the wrench and sent later"
		}
	case kindClock:
		said = r.Clock
	case kindFixed:
		return "as it must be"
	case kindUnread:
		return "not looked at"
	default:
		said = f.write(r)
	}
	if said == "" {
		return "nothing"
	}
	return said
}

func sayTorque(r *device.Reading) string {
	switch r.Unit {
	case "":
		return r.TorqueText
	case unit.Nm:
		return r.TorqueText + " N·m"
	}
	return fmt.Sprintf("%s %s = %s", r.TorqueText, r.Unit, r.Torque)
}
