package bench

import (
	"slices"

	"witnessmark/audit"
	"witnessmark/audit/match"
	"witnessmark/audit/procedure"
)

// verifying is true where a verification is still open.
func (r *run) verifying() bool {
	return slices.ContainsFunc(r.steps(), func(s StepState) bool { return s.Verify && s.State == Open })
}

// order is the order wanted with the figures that hold for this run.
func (r *run) order() []procedure.Step {
	if r.matcher != nil {
		return r.matcher.Steps()
	}
	return r.slackMatcher().Steps()
}

// slackMatcher is a matcher that has seen nothing yet, with what is known by now of what the fasteners take to run down.
func (r *run) slackMatcher() *follower {
	m := newFollower(r.procedure, r.joint)
	for f, drag := range r.drag {
		m.Prevail(f, drag)
	}
	return m
}

// rematch gives a run a matcher again, for a joint that is taken up after it was complete or released. What is held of its
// readings is settled: it tells the matcher where each was, and nothing that comes later changes it.
func (r *run) rematch(l match.Learned) {
	m := r.slackMatcher()
	m.Expect(l)
	renewals := r.renewals
	for i := range r.readings {
		t := &r.readings[i]
		for ; len(renewals) > 0 && renewals[0].Entry < t.seq; renewals = renewals[1:] {
			m.Replace(r.fastener(renewals[0].Fastener))
		}
		o := match.Observation{Wrench: t.reading.Wrench, Torque: t.reading.Torque, Angle: t.reading.Angle, Direction: t.reading.Direction,
			Named: named(t.mark.Fastener), Unfit: r.unfit(t)}
		correct(&o, t.fit)
		o.Guard = r.guard(t, o.Torque)
		if t.check != nil {
			o.Named = match.NotHere
		}
		m.Observe(o)
		t.fixed = true
	}
	for _, n := range renewals {
		m.Replace(r.fastener(n.Fastener))
	}
	m.Settle()
	r.matcher = m
}

func inForce(readings []taken) []audit.Mark {
	out := make([]audit.Mark, len(readings))
	for i := range readings {
		out[i] = readings[i].mark
	}
	return out
}
