package bench

import (
	"fmt"
	"slices"
	"strings"

	"witnessmark/audit"
	"witnessmark/audit/procedure"
)

// candidateFrom is the share from which a fastener is named among those that may have been missed, certainFrom that
// from which the missed one is taken to be known.
const (
	candidateFrom audit.Share = 30_000
	certainFrom   audit.Share = 900_000
	// doubtFrom is the share of there being any missed step from which a joint without an open one is doubted.
	doubtFrom audit.Share = 25_000
	// doubtedPart is the part of that share, 1 in so many, from which a single step is named.
	doubtedPart = 5
	// blindShare is what each reading adds that a second hit would equal: the share of pulls that are second hits.
	blindShare audit.Share = 10_000
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

// doubt speaks of steps that are taken as done, where another reading of the same facts leaves one open.
func doubt(d *OpenStage) string {
	if d.Stage == "" {
		return "the readings leave it open whether a fastener was missed: check them all"
	}
	return fmt.Sprintf("stage %s: the readings leave it open whether one was missed: check %s", d.Stage, strings.Join(d.Candidates, ", "))
}

// doubted are those steps, by stage; an empty stage stands for the joint as a whole. Before the last pull there is nothing
// to doubt yet, and once the matcher is gone there is nothing any more.
func (r *run) doubted(steps []StepState) []OpenStage {
	if r.matcher == nil || !tightened(steps) {
		return nil
	}
	blind := r.matcher.Blind() // where nothing could show a second hit, that is no trace of one
	from := doubtFrom
	for _, n := range blind {
		from += blindShare * audit.Share(n)
	}
	open := r.matcher.AnyOpen()
	if open < from { // the other stages are held to the share that they can show
		open, from = r.matcher.AnyOpenOf(func(stage int) bool { return blind[stage] == 0 }), doubtFrom
	}
	if open < from {
		return nil
	}
	out := r.suspects(steps, open/doubtedPart)
	if len(out) == 0 {
		out = append(out, OpenStage{})
	}
	return out
}

// suspects names the done steps that are open with at least a share.
func (r *run) suspects(steps []StepState, least audit.Share) (out []OpenStage) {
	shares := r.matcher.OpenShare()
	for _, st := range r.joint.Stages {
		var may []string
		for i, s := range steps {
			if s.Stage == st.ID && s.State == Done && shares[i] >= least && !s.Verify {
				may = append(may, s.Fastener)
			}
		}
		if len(may) > 0 {
			out = append(out, OpenStage{Stage: st.ID, Candidates: may})
		}
	}
	return out
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
		where = "check " + checkName(m.CheckID, m.Fastener)
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
				lines = append(lines, fmt.Sprintf("check %s: %s, wanted %s", checkName(c.ID, f), a.text, Wanted(c)))
			case due(c, steps):
				lines = append(lines, "check "+checkName(c.ID, f)+" is not answered")
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

func checkName(check, fastener string) string {
	if fastener == "" {
		return check
	}
	return check + " of fastener " + fastener
}
