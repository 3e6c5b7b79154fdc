package match

import (
	"witnessmark/audit/procedure"
)

// learn takes an attributed pull into what is known of the joint.
func (m *Matcher) learn(o *observed, n *node) {
	if n.step < 0 || o.angle == none || n.kind == Loosened {
		return
	}
	s, p := &m.steps[n.step], &m.phys
	o = o.at(s.Stage)
	rise := o.torque - int64(n.was().standing)
	switch {
	case n.kind == ReHit:
		if s.Action == procedure.TightenTo {
			p.tools[o.tool].wind.add(o.angle*1_000_000/max(o.torque, 1), o.torque)
		}
	case !fresh(n.kind) || rise <= 0:
	case s.Action == procedure.TurnBy && o.angle > 0 && !n.turnedBefore(s):
		p.rose(rise*1_000_000/o.angle, rise, m.kind[n.step], n.was())
	case s.Action == procedure.TightenTo && n.was().standing == 0:
		p.tools[o.tool].slack[m.kind[n.step]].add(o.angle*1_000_000/rise, rise)
	case s.Action == procedure.TightenTo && rise > o.torque/riseFrom:
		p.gave(o.angle*1_000_000/rise, rise, m.kind[n.step], n.was())
	}
}

// gave takes in how a fastener turned from a seated torque: for the others, without what is its own; and beside what it
// did in the stages before.
func (p *physics) gave(rate, rise int64, kind int, was *fastener) {
	p.compare(&p.seated[kind], rate, rise, was, false)
}

// rose takes in how a fastener rose in a turn, in the same way.
func (p *physics) rose(rate, rise int64, kind int, was *fastener) {
	p.compare(&p.turned[kind], rate, rise, was, true)
}

func (p *physics) compare(s *samples, rate, rise int64, was *fastener, turned bool) {
	ratio, pulls := p.slackness(was)
	if turned {
		ratio = 1_000_000 / ratio
	}
	if pulls > 0 && s.n >= knownFrom {
		p.wander.add(rate*1_000_000/(s.middle*ratio)-1000, widening(pulls, int64(s.n)))
	}
	s.add(rate*1000/ratio, rise)
}

// relearn learns anew from what is held now, after a change of mind.
func (m *Matcher) relearn() {
	before := m.phys.tools
	m.phys = newPhysics(m.kinds)
	for i := range before { // the same wrenches at the same places: readings refer to them
		m.phys.tool(before[i].wrench)
		m.phys.tools[i].grain = before[i].grain
	}
	for i, n := range chain(m.chosen.tip, len(m.seen)) {
		m.learn(&m.seen[i], n)
	}
}

// Learned is what a run taught about its joint, for the next run of the same joint by the same procedure revision: by kind
// of step, 0 where nothing was seen.
type Learned struct {
	Slack  []int64 // µ° per N·m
	Seated []int64 // µ° per N·m
	Turned []int64 // µN·m per °
}

// Learned is what is known by now, this run's own and what it was told to expect.
func (m *Matcher) Learned() Learned {
	l := Learned{make([]int64, m.kinds), make([]int64, m.kinds), make([]int64, m.kinds)}
	for k := range m.kinds {
		l.Slack[k], l.Seated[k], l.Turned[k] = at(m.earlier.Slack, k), at(m.earlier.Seated, k), at(m.earlier.Turned, k)
		for i := range m.phys.tools {
			if s := &m.phys.tools[i].slack[k]; s.n > 0 {
				l.Slack[k] = s.middle
			}
		}
		if s := &m.phys.seated[k]; s.n > 0 {
			l.Seated[k] = s.middle
		}
		if s := &m.phys.turned[k]; s.n > 0 {
			l.Turned[k] = s.middle
		}
	}
	return l
}

func at(list []int64, k int) int64 {
	if k < len(list) {
		return list[k]
	}
	return 0
}

// Expect tells what earlier builds taught. It is for a matcher that has seen nothing yet.
func (m *Matcher) Expect(l Learned) { m.earlier = l }

// Suppose tells how far a fastener turns per torque by its geometry, in µ° per N·m: better than nothing before the first
// pull. It is for a matcher that has seen nothing yet.
func (m *Matcher) Suppose(fastener int, rate int64) {
	for i := range m.steps {
		if m.steps[i].Fastener == fastener {
			m.supposed[m.kind[i]] = rate
		}
	}
}
