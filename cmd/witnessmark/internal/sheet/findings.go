package sheet

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/audit/procedure"
)

// find says what keeps the joint from being complete, and what a person should look at besides.
func (o *Joint) find(j *procedure.Joint, steps []bench.StepState, bolts []bench.Bolt) {
	for i := range j.Stages {
		o.stage(&j.Stages[i], steps)
	}
	for _, s := range steps {
		if s.State == bench.Failed {
			o.lacks(s.Failure())
		}
	}
	o.asked(j, steps)
	o.worn(bolts)
	for _, k := range o.Clock {
		o.clock(k)
	}
	o.readings()
}

// stage says which steps of a stage are open. One that verifies may stay open.
func (o *Joint) stage(st *procedure.Stage, steps []bench.StepState) {
	var open []string
	all := 0
	for _, s := range steps {
		if s.Stage != st.ID {
			continue
		}
		if all++; s.State == bench.Open {
			open = append(open, s.Fastener)
		}
	}
	where := fmt.Sprintf("stage %s is open for fastener %s", st.ID, strings.Join(open, ", "))
	if len(open) == all && all > 4 {
		where = fmt.Sprintf("stage %s is open for all %d fasteners", st.ID, all)
	}
	switch {
	case len(open) == 0:
	case st.Verifies():
		o.ToVerify += len(open)
		o.say("verification is still open: " + where)
	default:
		o.lacks(where)
	}
}

// asked goes through the checks of the joint, fastener by fastener where that is how they are asked for.
func (o *Joint) asked(j *procedure.Joint, steps []bench.StepState) {
	for i := range j.Checks {
		c := &j.Checks[i]
		for _, f := range bench.Asked(j, c) {
			o.checked(OpenCheck{c.ID, f, bench.Later(j, c, steps)})
		}
	}
}

func (o *Joint) worn(bolts []bench.Bolt) {
	lines, good := bench.WornOut(bolts)
	o.Complete = o.Complete && good
	o.say(lines...)
	if b := o.Bolts; b != nil && b.Used != nil && *b.Used > b.Due { // too few is an answer that is not accepted
		o.say("new bolts: " + b.String())
	}
}

// readings adds those that somebody should look at.
func (o *Joint) readings() {
	for _, s := range o.Steps {
		for _, m := range s.Marks {
			o.look(fmt.Sprintf("stage %s, fastener %s", s.Stage, s.Fastener), m.Reading, m.odd())
		}
	}
	for i := range o.Checks {
		c := &o.Checks[i]
		o.look("check "+bench.CheckName(c.Check, c.Fastener), c.Reading, c.Odd())
	}
	for _, m := range o.Stray {
		o.look("no step", m.Reading, m.odd())
	}
}

// fromHere on a step of the clock is worth a person's eye.
const fromHere = time.Minute

func (o *Joint) clock(k Clock) {
	by, way := time.Duration(k.Milliseconds)*time.Millisecond, "forward"
	if by < 0 {
		by, way = -by, "back"
	}
	if k.AtLeast {
		way += " by at least"
	} else {
		way += " by"
	}
	if by >= fromHere {
		o.say(fmt.Sprintf("the clock was set %s %s, to %s: the times before may be wrong, the order is not", way, by.Round(time.Second), audit.When(k.At)))
	}
}

func (o *Joint) lacks(sentence string) {
	o.Complete = false
	o.say(sentence)
}

func (o *Joint) say(sentences ...string) {
	o.Findings, o.OfJoint = append(o.Findings, sentences...), append(o.OfJoint, sentences...)
}

// checked looks for the newest answer to a check that still counts, and keeps the check among the open ones where there is none.
func (o *Joint) checked(open OpenCheck) {
	name := "check " + bench.CheckName(open.Check, open.Fastener)
	for i := len(o.Checks) - 1; i >= 0; i-- {
		c := &o.Checks[i]
		if c.Check != open.Check || c.Fastener != open.Fastener || o.OfOldBolt(c) {
			continue
		}
		if !c.OK {
			o.lacks(name + ": " + c.Answer + " is not accepted")
		}
		return
	}
	o.Unanswered = append(o.Unanswered, open)
	if !open.Later {
		o.lacks(name + " was not answered")
	}
}

// OfOldBolt is true of an answer about a bolt that is no longer there: it counts for nothing.
func (o *Joint) OfOldBolt(c *Check) bool {
	return slices.ContainsFunc(o.Renewals, func(b Renewal) bool { return b.Fastener == c.Fastener && b.LedgerIndex >= c.LedgerIndex })
}

func (o *Joint) look(where string, reading uint64, odd []string) {
	if len(odd) > 0 {
		o.Findings = append(o.Findings, fmt.Sprintf("reading %d (%s): %s", reading, where, strings.Join(odd, ", ")))
	}
}

// odd are the flags that ask for a person's eye.
func (m *Mark) odd() []string {
	return (&audit.Mark{Flags: m.Flags, LocatedBy: m.LocatedBy}).Odd()
}

// Odd are the flags of the reading that answered, as far as they ask for a person's eye.
func (c *Check) Odd() []string {
	return (&audit.Mark{Flags: c.Flags, LocatedBy: c.by}).Odd()
}
