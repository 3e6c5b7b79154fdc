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
	for _, st := range j.Stages {
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
	for _, s := range steps {
		if s.State == bench.Failed {
			o.lacks(s.Failure())
		}
	}
	for _, c := range j.Checks {
		for _, f := range bench.Asked(j, &c) {
			o.checked(c.ID, f, bench.Later(j, &c, steps))
		}
	}
	worn, good := bench.WornOut(bolts)
	o.Complete = o.Complete && good
	o.say(worn...)
	if b := o.Bolts; b != nil && b.Used != nil && *b.Used > b.Due { // too few is an answer that is not accepted
		o.say("new bolts: " + b.String())
	}
	for _, k := range o.Clock {
		o.clock(k)
	}
	for _, s := range o.Steps {
		for _, m := range s.Marks {
			o.look(fmt.Sprintf("stage %s, fastener %s", s.Stage, s.Fastener), m)
		}
	}
	for _, c := range o.Checks {
		o.look(checkName(c.Check, c.Fastener), Mark{Reading: c.Reading, Flags: c.Flags})
	}
	for _, m := range o.Stray {
		o.look("no step", m)
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
		o.say(fmt.Sprintf("the clock was set %s %s, to %s: the times before may be wrong, the order is not", way, by.Round(time.Second), when(k.At)))
	}
}

func (o *Joint) lacks(sentence string) {
	o.Complete = false
	o.say(sentence)
}

func (o *Joint) say(sentences ...string) {
	o.Findings, o.OfJoint = append(o.Findings, sentences...), append(o.OfJoint, sentences...)
}

// checked looks for the newest answer to a check, which may be given later. One about a bolt that is no longer there is none.
func (o *Joint) checked(id, fastener string, later bool) {
	name, since := checkName(id, fastener), int64(-1)
	for _, b := range o.Renewals {
		if b.Fastener == fastener {
			since = b.LedgerIndex
		}
	}
	for i := len(o.Checks) - 1; i >= 0; i-- {
		if c := o.Checks[i]; c.Check == id && c.Fastener == fastener && c.LedgerIndex > since {
			if !c.OK {
				o.lacks(name + ": " + c.Answer + " is not accepted")
			}
			return
		}
	}
	if !later {
		o.lacks(name + " was not answered")
	}
}

func checkName(id, fastener string) string {
	if fastener == "" {
		return "check " + id
	}
	return "check " + id + " of fastener " + fastener
}

// look adds a reading whose flags ask for a person's eye; a conditional or resent one does not, and what its wrench was found
// to be is said of the joint.
func (o *Joint) look(where string, m Mark) {
	odd := slices.DeleteFunc(slices.Clone(m.Flags), func(f string) bool { return f == audit.Conditional || f == audit.Resent || f == audit.FoundBad })
	if len(odd) > 0 {
		o.Findings = append(o.Findings, fmt.Sprintf("reading %d (%s): %s", m.Reading, where, strings.Join(odd, ", ")))
	}
}
