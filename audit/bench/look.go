package bench

import (
	"fmt"
	"slices"
	"strings"

	"witnessmark/audit"
	"witnessmark/audit/procedure"
	"witnessmark/device"
)

// View is what the technician at a bench sees now.
func (s *Shop) View(bench string) View {
	v := View{Bench: bench, Seq: s.seq, Summary: Summary{Open: []OpenStage{}, Attention: []string{}}}
	p := s.at(bench)
	v.Person, v.Scanned = s.PersonName(p.person), p.fastener
	v.Engine, v.WorkOrder = p.engine, p.order
	v.Fitted = s.fits[bench].list()
	if p.build != nil {
		v.Build, v.Engine, v.WorkOrder = p.build.ID, p.build.Engine, p.build.WorkOrder
	}
	r := s.runs[bench]
	if r == nil {
		return v
	}
	v.Run, v.Resumed, v.Hand = r.seq, r.resumed, s.PersonName(p.hand)
	v.Joint, v.Title = r.joint.ID, r.joint.Title
	open, due := r.matcher.Open()
	for i, s := range r.matcher.Steps() {
		if s.Action == procedure.Verify {
			continue
		}
		v.Steps++
		if slices.Contains(open, i) {
			v.Left++
		}
	}
	if due >= 0 {
		v.Next = r.next(due, s.fits[bench])
	}
	v.Ask = r.ask()
	v.Summary = r.summary(true)
	v.Last = r.lastReading(v.Next)
	return v
}

func (r *run) next(step int, fitted fits) *Next {
	s := r.matcher.Steps()[step]
	wrench := "" // that which is in hand
	if n := len(r.readings); n > 0 {
		wrench = r.readings[n-1].reading.Wrench
	}
	return &Next{Verify: s.Action == procedure.Verify, Stage: r.joint.Stages[s.Stage].ID, Fastener: r.joint.Fasteners[s.Fastener].ID,
		Target: r.wanted(s.Figures, s.Stage, fitted.of(wrench)), Figures: s.Figures}
}

// ask is the first check whose moment has come and that has no answer.
func (r *run) ask() *Ask {
	c, f := r.unanswered(func(*procedure.Check) bool { return true })
	if c == nil {
		return nil
	}
	return asking(c, f)
}

func asking(c *procedure.Check, fastener string) *Ask {
	a := &Ask{Check: c.ID, Fastener: fastener, Text: c.Ask, ByWrench: c.ByWrench, Lot: c.Answer == procedure.LotNumber}
	if c.Accept != nil || c.Answer != "" {
		a.Accept = Wanted(c)
	}
	return a
}

// unanswered is the first check of some whose moment has come and that has no answer, nil: none.
func (r *run) unanswered(some func(*procedure.Check) bool) (c *procedure.Check, fastener string) {
	steps := r.steps()
	for i := range r.joint.Checks {
		c := &r.joint.Checks[i]
		if !some(c) || !due(c, steps) {
			continue
		}
		for _, f := range Asked(r.joint, c) {
			if r.answer(c.ID, f) == nil {
				return c, f
			}
		}
	}
	return nil, ""
}

func stageDone(steps []StepState, stage string) bool {
	return !slices.ContainsFunc(steps, func(s StepState) bool { return s.Stage == stage && s.State != Done })
}

// shown is a reading as a person reads it, e.g. "45.2 N·m, 31°".
func shown(r *device.Reading) string {
	parts := []string{r.Torque.String()}
	if r.Angle != nil {
		parts = append(parts, r.Angle.String())
	}
	if r.Direction == device.Loosen {
		parts = append(parts, "loosening")
	}
	return strings.Join(parts, ", ")
}

func (r *run) lastReading(next *Next) *LastReading {
	if len(r.readings) == 0 {
		return nil
	}
	t := &r.readings[len(r.readings)-1]
	l := &LastReading{Seq: t.seq, Torque: t.reading.Torque.String(), Wrench: t.reading.Wrench, Mark: t.mark}
	if t.reading.Angle != nil {
		l.Angle = t.reading.Angle.String()
	}
	if t.mark.Adapter != "" {
		l.Applied = t.gotten().String()
	}
	l.Advice, l.Preload = r.advise(t, next), r.preload()
	return l
}

// advise says in a sentence or two what to do after a reading.
func (r *run) advise(t *taken, next *Next) string {
	m := &t.mark
	what := r.correct(t)
	if slices.Contains(m.Flags, audit.Unsure) {
		what += " Which one was that? Say so if you know."
	}
	switch {
	case next == nil:
		return what + " Nothing is left to tighten in this joint."
	case next.Verify && m.CheckID == "" && !verifies(r.joint, m.Stage):
		what += " Nothing is left to tighten in this joint; its verification is still open."
	}
	if m.Verdict == audit.Pass || m.Fastener == "" || m.CheckID != "" {
		what += fmt.Sprintf(" Next: fastener %s, %s.", next.Fastener, next.Target)
	}
	return what
}

func (r *run) correct(t *taken) string {
	m := &t.mark
	has := func(f string) bool { return slices.Contains(m.Flags, f) }
	switch {
	case m.CheckID != "":
		return r.measured(t)
	case has(audit.Unexpected) && m.Fastener != "":
		if worn := r.wornOut(m.Fastener); worn != "" {
			return "It was turned back: " + worn + "."
		}
		return fmt.Sprintf("Fastener %s was turned back: it starts again from its first stage.", m.Fastener)
	case m.Fastener == "":
		return "This reading belongs to no step of the joint; it is kept, nothing was ticked off."
	case m.Verdict != audit.Pass && verifies(r.joint, m.Stage):
		return fmt.Sprintf("Fastener %s: %s. Stop: %s.", m.Fastener, m.Verdict, afterVerification)
	case m.Verdict != audit.Pass:
		return r.failed(t)
	case has(audit.ReHit):
		return fmt.Sprintf("Fastener %s was done already and has been hit again.", m.Fastener)
	case has(audit.OutOfOrder):
		return fmt.Sprintf("Good, but out of order: that was fastener %s at stage %s.", m.Fastener, m.Stage)
	}
	return fmt.Sprintf("Fastener %s is good.", m.Fastener)
}

// stage is the index of a stage by its id, -1: none.
func (r *run) stage(id string) int {
	return slices.IndexFunc(r.joint.Stages, func(s procedure.Stage) bool { return s.ID == id })
}

func (r *run) figures(m *audit.Mark) procedure.Figures {
	for _, s := range r.order() {
		if r.joint.Stages[s.Stage].ID == m.Stage && r.joint.Fasteners[s.Fastener].ID == m.Fastener {
			return s.Figures
		}
	}
	return procedure.Figures{}
}

func (r *run) failed(t *taken) string {
	m := &t.mark
	switch m.Verdict {
	case audit.LowTorque, audit.LowAngle:
		return fmt.Sprintf("Fastener %s: %s. Tighten it again: %s.", m.Fastener, m.Verdict,
			r.wanted(r.figures(m), r.stage(m.Stage), t.fit))
	case audit.HighTorque, audit.HighAngle:
		return fmt.Sprintf("Fastener %s: %s. Stop: the engine maker's procedure says whether this bolt may stay.", m.Fastener, m.Verdict)
	case audit.NoAngle:
		return fmt.Sprintf("Fastener %s: the wrench sent no angle, and this joint needs one. Use a wrench that measures it.", m.Fastener)
	}
	return fmt.Sprintf("Fastener %s: %s.", m.Fastener, m.Verdict)
}
