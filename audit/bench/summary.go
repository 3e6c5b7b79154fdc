package bench

import (
	"fmt"
	"slices"
	"strings"

	"witnessmark/audit/procedure"
)

// summary tells whether the run is complete and what needs a person. Checks and bolts count where withChecks is true.
func (r *run) summary(withChecks bool) Summary {
	c := r.count(withChecks)
	sum := Summary{Complete: c.complete(), Open: r.openStages(c.steps, false), Verification: r.openStages(c.steps, true), Attention: []string{}}
	if withChecks {
		sum.BoltsDue = r.joint.Due
	}
	sum.Attention = append(sum.Attention, c.against...)
	sum.Attention = append(sum.Attention, r.stageFindings(slices.Concat(sum.Open, sum.Verification), c.steps)...)
	for i := range c.doubted {
		sum.Attention = append(sum.Attention, doubt(&c.doubted[i]))
	}
	for i := range r.readings {
		if line := readingFinding(&r.readings[i]); line != "" {
			sum.Attention = append(sum.Attention, line)
		}
	}
	return sum
}

// openStages groups the steps that are not done, and adds the candidates where the position cannot be known. verify chooses
// the steps that verify, of which one that failed is done with, or all others.
func (r *run) openStages(steps []StepState, verify bool) []OpenStage {
	open := []OpenStage{}
	shares := r.matcher.OpenShare()
	for _, st := range r.joint.Stages {
		o := OpenStage{Stage: st.ID}
		known := true
		for i, s := range steps {
			if s.Stage != st.ID || s.Verify != verify {
				continue
			}
			if s.State == Open || s.State == Failed && !verify {
				o.Fasteners = append(o.Fasteners, s.Fastener)
				known = known && shares[i] >= certainFrom
			}
			if shares[i] >= candidateFrom {
				o.Candidates = append(o.Candidates, s.Fastener)
			}
		}
		if known || len(o.Candidates) <= len(o.Fasteners) {
			o.Candidates = nil
		}
		if len(o.Fasteners) > 0 {
			open = append(open, o)
		}
	}
	return open
}

// stageFindings speaks of the steps that failed, and of those left behind by a technician who has gone on.
func (r *run) stageFindings(open []OpenStage, steps []StepState) []string {
	var out []string
	for _, s := range steps {
		if s.State == Failed {
			out = append(out, s.Failure())
		}
	}
	for _, o := range open {
		switch {
		case len(o.Candidates) > 0:
			is := plural(len(o.Fasteners), "is not done", "are not done")
			if r.passed(o, steps) {
				is = plural(len(o.Fasteners), "was missed", "were missed")
			}
			out = append(out, fmt.Sprintf("stage %s: %d of these %s: %s", o.Stage, len(o.Fasteners), is, strings.Join(o.Candidates, ", ")))
		case r.passed(o, steps):
			out = append(out, fmt.Sprintf("stage %s: missed: %s", o.Stage, strings.Join(o.Fasteners, ", ")))
		}
	}
	return out
}

// passed is true where the technician has gone beyond an open step of the stage.
func (r *run) passed(o OpenStage, steps []StepState) bool {
	for i := range min(r.matcher.Reached()+1, len(steps)) {
		if steps[i].Stage == o.Stage && steps[i].State == Open && len(steps[i].Marks)+len(steps[i].Replaced) == 0 {
			return true
		}
	}
	return false
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

// readingFinding is what a person should know of a reading that passed, or that belongs to no step.
func readingFinding(t *taken) string {
	m := &t.mark
	odd := m.Odd()
	if len(odd) == 0 {
		return ""
	}
	where := "no step of this joint"
	switch {
	case m.CheckID != "":
		where = "check " + CheckName(m.CheckID, m.Fastener)
	case m.Fastener != "":
		where = fmt.Sprintf("stage %s, fastener %s", m.Stage, m.Fastener)
	}
	return fmt.Sprintf("reading %d (%s): %s: %s", t.seq, shown(&t.reading), where, strings.Join(odd, ", "))
}

// checkFindings lists the checks that were answered outside their limits, and those whose moment has come without an
// answer; good is true where every check has an answer that is accepted.
func (r *run) checkFindings(steps []StepState) (lines []string, good bool) {
	good = true
	for i := range r.joint.Checks {
		c := &r.joint.Checks[i]
		for _, f := range Asked(r.joint, c) {
			a := r.answer(c.ID, f)
			if a != nil && a.good || a == nil && Later(r.joint, c, steps) {
				continue
			}
			good = false
			switch {
			case a != nil:
				lines = append(lines, fmt.Sprintf("check %s: %s, wanted %s", CheckName(c.ID, f), a.text, Wanted(c)))
			case due(c, steps):
				lines = append(lines, "check "+CheckName(c.ID, f)+" is not answered")
			}
		}
	}
	return lines, good
}

// due is true when the moment of a check has come.
func due(c *procedure.Check, steps []StepState) bool {
	return c.After == "" || stageDone(steps, c.After)
}

// Later is true of a check that is asked for after a verification that is still open: like that one it keeps no joint from
// being complete.
func Later(j *procedure.Joint, c *procedure.Check, steps []StepState) bool {
	return !due(c, steps) && verifies(j, c.After)
}

// Wanted is what a check asks for, in words.
func Wanted(c *procedure.Check) string {
	switch {
	case c.Answer == procedure.LotNumber:
		return "a lot number, typed or scanned"
	case c.Answer == procedure.CountBolts:
		return fmt.Sprintf("at least %d, which are due to be replaced", c.Bolts)
	case c.Accept == nil:
		return "yes"
	}
	return c.Accept.String()
}

// CheckName is a check as findings speak of it, e.g. `stretch of fastener 4`.
func CheckName(check, fastener string) string {
	if fastener == "" {
		return check
	}
	return check + " of fastener " + fastener
}
