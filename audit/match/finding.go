package match

import (
	"witnessmark/audit"
	"witnessmark/audit/procedure"
	"witnessmark/device/unit"
)

// shares turns the weights of the beliefs into thousand-millionths that add up to about 1e9.
func (m *Matcher) shares() []int64 {
	var sum int64
	out := make([]int64, len(m.beliefs))
	for i, h := range m.beliefs {
		out[i] = expNano(h.weight - m.beliefs[0].weight)
		sum += out[i]
	}
	for i := range out {
		out[i] = out[i] * 1_000_000 / (sum / 1000)
	}
	return out
}

func share(nano int64) audit.Share { return audit.Share(min(nano/1000, int64(audit.Certain))) }

// shareOfTip is the posterior of the newest observation having been the step that a node says.
func (m *Matcher) shareOfTip(n *node) audit.Share {
	var sum int64
	for i, s := range m.shares() {
		if t := m.beliefs[i].tip; t.step == n.step {
			sum += s / int64(t.alike)
		}
	}
	return share(sum)
}

func (m *Matcher) finding(n *node, c audit.Share) Finding {
	return Finding{Step: int(n.step), Kind: n.kind, OutOfOrder: n.outOfOrder, Turned: unit.Angle(n.turned), Verdict: n.verdict.verdict(), Confidence: c}
}

// locate says how the position of an observation is known.
func (m *Matcher) locate(f *Finding, o *Observation) {
	if o.Named != "" {
		f.LocatedBy = audit.ByPerson
		return
	}
	if f.Step < 0 {
		return
	}
	f.LocatedBy = audit.ByOrder
	if told, by := m.told(o); told == m.steps[f.Step].Fastener {
		f.LocatedBy = by
	}
}

// Findings gives the finding of every observation as it is held now, the oldest first. Confidences are marginal:
// the share of all beliefs that attribute the observation to the same step.
func (m *Matcher) Findings() []Finding {
	chosen := chain(m.chosen.tip, len(m.seen))
	sums := make([]int64, len(m.seen))
	for i, s := range m.shares() {
		for k, n := range chain(m.beliefs[i].tip, len(m.seen)) {
			if n.step == chosen[k].step {
				sums[k] += s / int64(n.alike)
			}
		}
	}
	out := make([]Finding, len(m.seen))
	for i, n := range chosen {
		out[i] = m.finding(n, share(sums[i]))
		m.locate(&out[i], &m.seen[i].Observation)
	}
	return out
}

func chain(tip *node, n int) []*node {
	out := make([]*node, n)
	for i := n - 1; i >= 0; i-- {
		out[i], tip = tip, tip.parent
	}
	return out
}

// OpenShare is the posterior of each step being open now, in the order of Steps.
func (m *Matcher) OpenShare() []audit.Share {
	sums := make([]int64, len(m.steps))
	for i, s := range m.shares() {
		for k := range m.steps {
			if m.beliefs[i].open.has(k) {
				sums[k] += s
			}
		}
	}
	out := make([]audit.Share, len(sums))
	for i, s := range sums {
		out[i] = share(s)
	}
	return out
}

// AnyOpen is the posterior of at least one tightening or loosening being open, where the technician takes the joint for done.
// Verifications do not count.
func (m *Matcher) AnyOpen() audit.Share { return m.AnyOpenOf(func(int) bool { return true }) }

// AnyOpenOf is the same of some stages alone.
func (m *Matcher) AnyOpenOf(of func(stage int) bool) audit.Share {
	var open, all int64
	for i, s := range m.shares() {
		h := m.beliefs[i]
		if m.tightening(h) {
			s = s * expNano(m.stops(h)) / 1_000_000_000
		}
		if m.openOf(h, of) {
			open += s
		}
		all += s
	}
	return share(open * 1_000_000 / max(all/1000, 1))
}

// openOf is true where there is something left to tighten in some of these stages.
func (m *Matcher) openOf(h *hypothesis, of func(stage int) bool) bool {
	for i := h.open.from(0); i >= 0 && i < m.tight; i = h.open.from(i + 1) {
		if of(m.steps[i].Stage) {
			return true
		}
	}
	return false
}

// stops is how likely a technician who has an open step ahead takes the joint for done: who took a second hit for the last
// does, and so may one who goes by what the page says. Of what was left behind nobody knows.
func (m *Matcher) stops(h *hypothesis) nats {
	e := h.open.from(h.pos + 1)
	switch {
	case e < 0 || e >= m.tight:
		return 0
	case h.hitAgain():
		return pBelieved
	}
	return pStops
}

// Blind is, by stage, how many observations, as they are held now, would have looked the same had the technician hit another
// one again: those without an angle, and those at a fastener that stood at the torque already.
func (m *Matcher) Blind() []int {
	n := make([]int, len(m.at))
	for i, t := range chain(m.chosen.tip, len(m.seen)) {
		if t.step < 0 {
			continue
		}
		o, s := &m.seen[i], &m.steps[t.step]
		if o.angle == none || s.Action == procedure.TightenTo && fresh(t.kind) && int64(t.was().standing)*1000 >= o.torque*stuckFrom {
			n[s.Stage]++
		}
	}
	return n
}

// Open lists the steps that are open by what is said, in order. due is the one to do now, -1: none: the one to be tried
// again, else the first open one, for the procedure wants nothing left behind.
func (m *Matcher) Open() (open []int, due int) {
	for i := range m.steps {
		if m.chosen.open.has(i) {
			open = append(open, i)
		}
	}
	due = -1
	if len(open) > 0 {
		due = open[0]
	}
	if r := m.retry(m.chosen); r >= 0 {
		due = r
	}
	return open, due
}

// Reached is the furthest step at which the technician has been, -1: none.
func (m *Matcher) Reached() int { return m.chosen.far }
