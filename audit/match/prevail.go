package match

import (
	"witnessmark/audit"
	"witnessmark/audit/judge"
	"witnessmark/device/unit"
)

// drag is what was told after so many observations of what a fastener takes to run down.
type drag struct {
	after, fastener int
	torque          unit.Torque
}

// Prevail adds what a fastener takes to run down to every torque that its stages ask for (FAA AC 43.13-1B, 7-40). What it was
// tightened to before that was told is judged again; which fastener a reading was is not weighed again, for who tightened
// it went by what was asked for then.
func (m *Matcher) Prevail(f int, t unit.Torque) {
	if t == 0 {
		return
	}
	m.drags = append(m.drags, drag{len(m.seen), f, t})
	m.raise(f, t)
	if len(m.seen) == 0 {
		return
	}
	for _, h := range m.beliefs {
		m.rejudge(h, f)
	}
}

// raise adds to every torque that is asked of a fastener.
func (m *Matcher) raise(f int, t unit.Torque) {
	for i := range m.steps {
		s := &m.steps[i]
		if s.Fastener != f {
			continue
		}
		if s.Torque != 0 {
			s.Torque += t
		}
		if s.Torques.Set {
			s.Torques.Low, s.Torques.High = s.Torques.Low+t, s.Torques.High+t
		}
		m.highest = max(m.highest, int64(s.Torque)/milli, int64(s.Torques.High)/milli)
	}
}

// rejudge judges again every pull on a fastener since its bolt was fitted, and opens and closes its steps anew.
func (m *Matcher) rejudge(h *hypothesis, fastener int) {
	since := 0
	for _, f := range m.fitted {
		if f.fastener == fastener {
			since = f.after
		}
	}
	f := h.change(fastener)
	m.reopen(h, fastener)
	for i, n := range chain(h.tip, len(m.seen)) {
		switch {
		case i < since || n.step < 0 || m.steps[n.step].Fastener != fastener:
		case n.kind == Loosened:
			m.reopen(h, fastener)
			f.failed = true
		default:
			n.verdict = m.ruling(&m.seen[i], n.pull)
			h.settle(n.pull)
			f.judged(n.pull)
		}
	}
}

// ruling judges an observation at the step of a pull.
func (m *Matcher) ruling(o *observed, p *pull) ruling {
	s := &m.steps[p.step]
	o = o.at(s.Stage)
	m.reading.Torque, m.reading.Angle, m.reading.Direction = o.Torque, o.Angle, o.Direction
	return rulingOf(judge.Verdict(judge.Pull{Figures: s.Figures, Reading: &m.reading, Turned: unit.Angle(p.turned), Total: unit.Angle(p.was().total),
		NeedsAngle: m.classA, Guard: o.Guard, Unfit: o.Unfit}))
}

// weak is true of too weak a second pull, which moves nothing.
func (p *pull) weak() bool { return p.kind == ReHit && p.verdict.verdict() == audit.LowTorque }

// settle opens or closes the step of a pull by its verdict. That of a second hit that over-tightened stays as it is: a person
// must see to it, and in the order of work it lies behind the technician.
func (h *hypothesis) settle(p *pull) {
	switch {
	case p.verdict.verdict() == audit.Pass:
		h.open.drop(int(p.step))
	case p.kind != ReHit:
		h.open.put(int(p.step))
	}
}

// judged notes at a fastener how a pull on it was judged.
func (f *fastener) judged(p *pull) {
	v := p.verdict.verdict()
	switch {
	case v == audit.Pass:
		f.failed, f.over = false, false
	case p.kind != ReHit:
		f.failed, f.over = true, v == audit.HighTorque || v == audit.HighAngle
	}
}
