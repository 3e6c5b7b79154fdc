package bench

import (
	"fmt"
	"strings"

	"witnessmark/audit"
	"witnessmark/audit/procedure"
	"witnessmark/device"
)

// said is what a person answered at entry seq.
type said struct {
	seq uint64
	audit.CheckAnswered
}

// answer is what is held of a check.
type answer struct {
	seq   uint64
	text  string
	value int64 // in the steps of the range that is accepted; 0 where none is
	good  bool
}

// answer is the newest answer to a check, by a person or by a wrench; nil: none yet. What was measured of a bolt that is no
// longer there is none.
func (r *run) answer(check, fastener string) *answer {
	var newest *answer
	c, since := r.check(check), r.renewed(fastener)
	for i := range r.answers {
		if s := &r.answers[i]; s.Check == check && s.Fastener == fastener && s.seq > since {
			newest = spoken(c, s)
		}
	}
	for i := range r.readings {
		t := &r.readings[i]
		if g := t.check; g != nil && g.check == c && g.fastener == fastener && t.seq > since && (newest == nil || t.seq > newest.seq) {
			newest = &answer{t.seq, Shown(c, &t.mark, &t.reading), t.valueOf(c), Measured(&t.mark)}
		}
	}
	return newest
}

func spoken(c *procedure.Check, s *said) *answer {
	a := &answer{seq: s.seq, text: Answered(&s.CheckAnswered), good: Accepted(c, &s.CheckAnswered)}
	if c.Accept != nil {
		a.value, _ = measured(c.Accept, s.Value) // Refusal has read it once
	}
	return a
}

// Answered is a person's answer in words.
func Answered(a *audit.CheckAnswered) string {
	switch {
	case a.Value != "":
		return a.Value
	case a.Yes:
		return "yes"
	}
	return "no"
}

// Measured is true where the reading of a mark that measures a check is what the check asks for.
func Measured(m *audit.Mark) bool { return m.CheckID != "" && m.Verdict == audit.Pass }

// Shown is what a wrench shows for a check, as the wrench wrote it: its torque, with what that is at the fastener through an
// adapter, or its angle.
func Shown(c *procedure.Check, m *audit.Mark, rd *device.Reading) string {
	if inAngle(c) && rd.Angle != nil {
		return rd.Angle.String()
	}
	text := rd.Torque.String()
	if rd.TorqueText != "" {
		text = strings.TrimSpace(rd.TorqueText) + " " + string(rd.Unit)
	}
	if m.Adapter != "" {
		text += fmt.Sprintf(" (%s at the fastener, through %s)", AtFastener(m, rd), m.Adapter)
	}
	return text
}

// inAngle is true of a check that asks for an angle.
func inAngle(c *procedure.Check) bool { return c.Accept != nil && c.Accept.Unit == "°" }

// valueOf is what a reading says for a check, in the steps of its range.
func valueOf(c *procedure.Check, rd *device.Reading) int64 {
	if inAngle(c) {
		return int64(*rd.Angle)
	}
	return int64(rd.Torque)
}

// valueOf is what the reading says for a check at the fastener.
func (t *taken) valueOf(c *procedure.Check) int64 {
	got := t.reading
	got.Torque = t.gotten()
	return valueOf(c, &got)
}
