package profile

import (
	"bytes"
	"errors"
	"strings"

	"witnessmark/device/strictyaml"
)

// Format is the first line of every profile file of this version.
const Format = "witnessmark/wrench/1"

// Parse reads a profile file; file is only the name that faults carry. The error is a strictyaml.Faults with every
// fault of the file at its line and column.
func Parse(file string, text []byte) (*Profile, error) {
	doc := strictyaml.Parse(file, text)
	m := doc.Root().Map("format", "name", "version", "title", "serial", "frame", "registers", "check", "fields",
		"ignore", "ack", "answers", "send")
	if n, ok := m.Need("format"); ok {
		oneOf(n, Format)
	}
	l := loader{doc: doc, p: &Profile{Name: need(m, "name", name), Version: need(m, "version", line), Title: maybe(m, "title", "", line)}}
	l.wire(m)
	l.p.spokenBy = l.p.Name + " " + l.p.Version
	if err := doc.Err(); err != nil {
		return nil, err
	}
	return l.p, nil
}

// loader reads one file. What concerns two blocks is looked at only if both could be read: a fault is told once.
type loader struct {
	doc    *strictyaml.Doc
	p      *Profile
	framed bool            // the frame could be read
	drawn  bool            // so could the fields
	places []fieldPlace    // of the fields
	count  strictyaml.Node // where the place of a length field is drawn
}

// wire reads the blocks that draw what is on the wire, each after those that it refers to.
func (l *loader) wire(m strictyaml.Map) {
	p := l.p
	registers, reads := m.Get("registers")
	if reads {
		none(m, "registers are read instead", "frame", "check", "ignore", "ack", "answers", "send")
		l.framed = l.clean(func() { l.registers(registers) })
		p.mode = maybe(m, "serial", Mode{}, mode)
	} else {
		p.mode = need(m, "serial", mode)
		if n, ok := m.Need("frame"); ok {
			l.framed = l.clean(func() { l.frame(n) })
		}
	}
	if n, ok := m.Need("fields"); ok {
		l.drawn = l.clean(func() { l.fields(n) })
	}
	if reads {
		l.registersMustFit(registers)
		return
	}
	if n, ok := m.Get("check"); ok {
		l.check(n)
	}
	l.fieldsMustFit()
	if n, ok := m.Get("ignore"); ok {
		l.ignore(n)
	}
	l.answers(m)
	if n, ok := m.Get("send"); ok {
		l.send(n)
	}
}

// clean says whether reading added no faults.
func (l *loader) clean(read func()) bool {
	before := l.faults()
	read()
	return l.faults() == before
}

func (l *loader) faults() int {
	if faults, ok := errors.AsType[strictyaml.Faults](l.doc.Err()); ok {
		return len(faults)
	}
	return 0
}

func name(n strictyaml.Node) string {
	name := line(n)
	if strings.Trim(name, "abcdefghijklmnopqrstuvwxyz0123456789-") != "" || len(name) > 40 {
		n.Faultf("found the name %.60q, expected at most 40 of a to z, 0 to 9 and -", name)
	}
	return name
}

func mode(n strictyaml.Node) Mode {
	m := n.Map("baud", "bits", "parity", "stop")
	return Mode{
		Baud:     need(m, "baud", between(110, 4_000_000)),
		DataBits: need(m, "bits", between(7, 8)),
		Parity:   need(m, "parity", choose("none", "odd", "even", "mark", "space")),
		StopBits: need(m, "stop", choose("1", "1.5", "2")),
	}
}

// ignore reads how the lines begin that are no readings; of binary fields, how the frames begin.
func (l *loader) ignore(n strictyaml.Node) {
	items, _ := n.List()
	for _, item := range items {
		prefix := short(item)
		if prefix == nil {
			continue
		}
		l.mustBeReached(item, prefix)
		l.p.ignore = append(l.p.ignore, prefix)
	}
}

// mustBeReached faults a beginning that every reading has, that no line can have, or that another entry takes.
func (l *loader) mustBeReached(n strictyaml.Node, prefix []byte) {
	p := l.p
	begin := p.fields.lead
	if p.fields.form == byBinary {
		begin = p.framing.start
	}
	switch {
	case bytes.HasPrefix(begin, prefix):
		n.Faultf("found %q, expected a beginning that no reading has", wireText(prefix))
		return
	case l.framed && p.framing.ends(prefix):
		n.Faultf("found %q, expected no end of frame in it", wireText(prefix))
		return
	}
	for _, other := range p.ignore {
		if bytes.HasPrefix(prefix, other) {
			n.Faultf("found %q, expected a beginning that is not ignored already by %q", wireText(prefix), wireText(other))
			return
		}
		if bytes.HasPrefix(other, prefix) {
			n.Faultf("found %q, expected it before or instead of the longer %q", wireText(prefix), wireText(other))
			return
		}
	}
}
