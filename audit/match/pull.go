package match

import (
	"slices"

	"witnessmark/audit"
	"witnessmark/audit/procedure"
)

// pull is what an observation may have been, and what it did to its fastener. Its fields are small, for many are held.
type pull struct {
	before     *pull    // the one before it on the fastener; nil where there is no step
	left       fastener // as it left it
	turned     int32    // m°, of the fastener in this stage before
	step       int16    // -1: none
	alike      int16    // the step stands for so many that no reading tells apart
	kind       Kind
	outOfOrder bool
	verdict    ruling
}

// asFitted is what left every fastener that was not pulled yet.
var asFitted = &pull{left: fastener{stage: -1}}

// was is the fastener before the observation.
func (p *pull) was() *fastener { return &p.before.left }

// ruling is a verdict by its place among all of them.
type ruling uint8

var verdicts = audit.Verdicts()

func rulingOf(v audit.Verdict) ruling { return ruling(slices.Index(verdicts, v)) }

func (r ruling) verdict() audit.Verdict { return verdicts[r] }

var notJudged = rulingOf(audit.NotJudged)

// turnedBefore is true of a turn that its fastener had had already, in part at least: it may yield, which tells nothing of
// the others.
func (p *pull) turnedBefore(s *procedure.Step) bool { return int(p.was().stage) == s.Stage }

// pulled is the pull that a branch of a hypothesis says, the same one for all that say the same.
func (m *Matcher) pulled(from *hypothesis, b branch, o *observed) *pull {
	var before *pull
	if b.step >= 0 {
		before = from.bolts[m.steps[b.step].Fastener]
	}
	for _, p := range m.newest {
		if p.before == before && p.step == int16(b.step) && p.kind == b.kind && p.alike == int16(b.alike) && p.outOfOrder == b.outOfOrder {
			return p
		}
	}
	p := &pull{before: before, step: int16(b.step), alike: int16(b.alike), kind: b.kind, outOfOrder: b.outOfOrder, verdict: notJudged}
	if before != nil {
		p.left = before.left
		m.work(p, o)
	}
	m.newest = append(m.newest, p)
	return p
}

// work judges a pull, and brings its fastener to where the observation left it.
func (m *Matcher) work(p *pull, o *observed) {
	s, f := &m.steps[p.step], &p.left
	if p.kind == Loosened {
		p.verdict = rulingOf(audit.WrongDirection)
		left := int64(f.standing)
		if o.angle != none {
			left -= o.angle * 1_000_000 / m.slackRate(o.tool, m.kind[p.step])
		}
		*f = fastener{stage: -1, failed: true, standing: int32(max(left, 0))}
		return
	}
	if int(f.stage) == s.Stage {
		p.turned = f.turned
	}
	p.verdict = m.ruling(o, p)
	if s.Action != procedure.Verify { // which leaves it as it stands
		m.move(p, s, o.at(s.Stage))
	}
}

// move brings the fastener of a pull to where it was tightened or loosened to.
func (m *Matcher) move(p *pull, s *procedure.Step, o *observed) {
	f := &p.left
	f.stage, f.turned = int8(s.Stage), p.turned
	if o.angle != none {
		f.turned = int32(min(int64(f.turned)+o.angle, maxTurned))
		if s.Action == procedure.TurnBy {
			f.total = int32(min(int64(f.total)+o.angle, maxTurned))
		}
	}
	f.judged(p)
	if p.weak() {
		return
	}
	m.remember(f, p, s, o)
	if s.Action == procedure.LoosenBy {
		f.keep(&m.phys) // its friction is its own still
		f.standing, f.total = 0, 0
	} else {
		f.standing = max(f.standing, int32(min(o.torque, maxStanding)))
	}
}

// remember takes in how a fastener turned in a pull that moved it, before it stands where the pull left it.
func (m *Matcher) remember(f *fastener, p *pull, s *procedure.Step, o *observed) {
	rise, kind := o.torque-int64(f.standing), int16(m.kind[p.step])
	if !fresh(p.kind) || o.angle <= 0 || rise <= 0 {
		return
	}
	switch {
	case s.Action == procedure.TightenTo && rise > o.torque/riseFrom:
		f.keep(&m.phys)
		f.rate, f.like, f.slack, f.tool = int32(min(o.angle*1_000_000/rise, maxRate)), kind, f.standing == 0, int8(o.tool)
	case s.Action == procedure.TurnBy && !p.turnedBefore(s):
		f.keep(&m.phys)
		f.lift, f.liftLike = int32(min(rise*1_000_000/o.angle, maxRate)), kind
	}
}
