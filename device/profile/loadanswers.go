package profile

import (
	"slices"
	"strings"
	"time"

	"witnessmark/device/strictyaml"
)

// answers reads what is said to the wrench, in the short form and the long one.
func (l *loader) answers(m strictyaml.Map) {
	a := &l.p.answers
	if n, ok := m.Get("ack"); ok {
		a.accepted = l.said(n, l.ending(), true)
	}
	n, ok := m.Get("answers")
	if !ok {
		return
	}
	if ack, both := m.Key("ack"); both {
		ack.Faultf("found ack beside answers, expected accepted among the answers")
	}
	block := n.Map("accepted", "refused", "pass", "fail", "raw")
	end := l.endingOf(block)
	for key, into := range map[string]*[]piece{"accepted": &a.accepted, "refused": &a.refused, "pass": &a.pass, "fail": &a.fail} {
		if at, ok := block.Get(key); ok {
			*into = l.said(at, end, key != "refused")
		}
	}
	if at, ok := block.Get("refused"); ok && l.p.check.sum == nil {
		at.Faultf("found refused, expected a check with it: without one nothing says that a frame came broken")
	}
}

// ending is what ends a line that we write; other frames are sent as they stand.
func (l *loader) ending() []byte {
	if l.p.framing.form == formLine {
		return l.p.framing.end
	}
	return nil
}

func (l *loader) endingOf(m strictyaml.Map) []byte {
	at, ok := m.Get("raw")
	if !ok {
		return l.ending()
	}
	if truth(at) {
		return nil
	}
	if l.framed && l.p.framing.form != formLine {
		at.Faultf("found false, expected true: only lines have an end that is written behind them")
	}
	return l.ending()
}

// said reads text with placeholders: %counter%, %serial%, %tag%, and %% for a percent sign.
func (l *loader) said(n strictyaml.Node, end []byte, repeats bool) (parts []piece) {
	text, ok := n.Text()
	if !ok {
		return nil
	}
	texts := strings.Split(text, "%")
	if text == "" || len(texts)%2 == 0 {
		n.Faultf("found %.40q, expected ASCII text in which %%counter%%, %%serial%% and %%tag%% stand for the "+
			"reading's own and %%%% for a percent sign", text)
		return nil
	}
	for i, t := range texts {
		switch {
		case i%2 == 0:
			parts = append(parts, piece{text: l.wireOf(n, t)})
		case t == "":
			parts = append(parts, piece{text: []byte("%")})
		case !repeats:
			n.Faultf("found %%%.40s%%, expected none: nothing can be repeated of a broken frame", t)
		default:
			l.mustAlwaysCome(n, fieldKind(t))
			parts = append(parts, piece{field: fieldKind(t)})
		}
	}
	return append(parts, piece{text: end})
}

func (l *loader) wireOf(n strictyaml.Node, text string) []byte {
	b, err := wireBytes(text)
	switch {
	case err != nil:
		n.Faultf("%v", err)
	case !plainASCII(text):
		n.Faultf("found %.40q, expected ASCII text", text)
	}
	return b
}

// mustAlwaysCome faults a placeholder that a reading might not fill: such a reading could never be acknowledged.
func (l *loader) mustAlwaysCome(n strictyaml.Node, kind fieldKind) {
	if !slices.Contains(spoken, kind) {
		n.Faultf("found %%%.40s%%, expected %%counter%%, %%serial%% or %%tag%%", kind)
		return
	}
	if l.drawn && !slices.ContainsFunc(l.p.fields.list, func(f field) bool { return f.kind == kind && !f.optional }) {
		n.Faultf("found %%%s%%, expected a field of that kind that is not optional", kind)
	}
}

// send reads what the wrench is told unasked.
func (l *loader) send(n strictyaml.Node) {
	m := n.Map("start", "poll", "alive", "raw")
	s := &l.p.sending
	end := l.endingOf(m)
	if at, ok := m.Get("start"); ok {
		items, _ := at.List()
		for _, item := range items {
			s.start = append(s.start, l.command(item, end))
		}
	}
	for _, key := range []string{"poll", "alive"} {
		if at, ok := m.Get(key); ok {
			s.calls = append(s.calls, l.call(at, end, key == "poll"))
		}
	}
}

func (l *loader) call(n strictyaml.Node, end []byte, poll bool) Call {
	m := n.Map("text", "every")
	c := Call{Poll: poll, Every: need(m, "every", duration(20*time.Millisecond, time.Hour))}
	if at, ok := m.Need("text"); ok {
		c.Text = l.command(at, end)
	}
	return c
}

func (l *loader) command(n strictyaml.Node, end []byte) []byte {
	text, ok := n.Text()
	if !ok {
		return nil
	}
	b := l.wireOf(n, text)
	if len(b) == 0 || len(b) > 200 {
		n.Faultf("found %.40q, expected 1 to 200 characters", text)
	}
	return slices.Concat(b, end)
}
