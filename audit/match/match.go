// Package match finds out which fastener a reading was. A wrench tells torque and angle, never where it was; the
// matcher keeps a few weighted hypotheses, each of which says what stage every fastener has reached and where the
// technician is, and lets each reading branch and re-weigh them.
package match

import (
	"witnessmark/audit"
	"witnessmark/audit/procedure"
	"witnessmark/device"
	"witnessmark/device/unit"
)

// Observation is one reading as the matcher sees it.
type Observation struct {
	Wrench string // its id: what is learned of thresholds and wind-up is each wrench's own
	Torque unit.Torque
	// Corrected says that Torque is that at the fastener already, whatever adapter a stage names: see Through.
	Corrected bool
	Angle     *unit.Angle // nil: none sent
	Direction device.Direction
	Tag       string // fastener id sent by the wrench; empty or unknown in the joint: no help
	Scanned   string // fastener id of the label scanned before; it goes before a tag. Empty: none was
	// Named is a person's word: a fastener id, or NotHere. Empty: nobody said.
	Named string
	// Guard draws in the torque limits, see judge.Pull.
	Guard unit.Torque
	// Unfit says that the procedure lets no reading of this wrench pass.
	Unfit bool
}

// NotHere in Observation.Named says that the reading belongs to nothing of this joint.
const NotHere = "\x00none"

// Kind says what a reading was, seen from the order wanted.
type Kind uint8

// The kinds of pull.
const (
	Next     Kind = iota // the step that was expected
	Retry                // the same step again after it did not pass
	ReHit                // a step that was done already
	Skip                 // a step ahead of the expected one
	MakeGood             // a step that had been left behind
	Early                // a step of the next leg while this one has open steps
	Loosened             // a fastener turned back outside a loosening stage
	Stray                // nothing of this joint
)

// String is the kind in words.
func (k Kind) String() string {
	return [...]string{"next", "retry", "re-hit", "skip", "make good", "early", "loosened", "stray"}[k]
}

// Finding is what the matcher holds about one observation.
type Finding struct {
	Step       int // index into Steps, -1: belongs to none
	Kind       Kind
	OutOfOrder bool
	Turned     unit.Angle // what the fastener had turned in this stage before
	Verdict    audit.Verdict
	Confidence audit.Share
	LocatedBy  audit.LocatedBy
}

// Matcher follows one run of a joint. It is not safe for concurrent use.
type Matcher struct {
	steps   []procedure.Step
	leg     []int  // per step: the stage, or the fastener where a fastener goes through all stages but those that verify
	kind    []int  // per step: equal for those that no reading tells apart
	kinds   int    // how many kinds there are
	uniform []bool // per leg: all its steps are of one kind
	tight   int    // so many steps tighten; those after them verify
	verify  []int  // stages that verify

	supposed []int64                         // by kind: turn per torque by geometry, µ° per N·m; 0: not said
	earlier  Learned                         // of earlier builds
	through  []func(unit.Torque) unit.Torque // by stage: what the fastener gets of a torque shown; all nil: see Through
	at       [][]int                         // stage, fastener → step, -1: not covered
	ids      map[string]int
	classA   bool
	highest  int64 // mN·m

	seen      []observed
	fitted    []fitted
	drags     []drag
	beliefs   []*hypothesis // heaviest first
	chosen    *hypothesis   // the one that is said
	phys      physics
	now, next *generation // beliefs are of now
	// rethought is true when the newest observation changed what had been said of earlier ones.
	rethought bool

	// Room that is used again for every observation.
	scratch             []branch
	newest              []*pull // what the newest observation may have been
	behind, near, alike []int
	hit                 steps
	reading             device.Reading
}

// New begins a run of joint j with every fastener slack.
func New(j *procedure.Joint) *Matcher {
	m := &Matcher{steps: j.Sequence(), ids: map[string]int{}, classA: j.Criticality == procedure.ClassA}
	for i, f := range j.Fasteners {
		m.ids[f.ID] = i
	}
	m.at = make([][]int, len(j.Stages))
	for s := range m.at {
		m.at[s] = make([]int, len(j.Fasteners))
		for f := range m.at[s] {
			m.at[s][f] = -1
		}
	}
	m.index(j)
	m.now, m.next = m.newGeneration(len(j.Fasteners)), m.newGeneration(len(j.Fasteners))
	m.hit = make(steps, (len(m.steps)+63)/64)
	m.reset()
	return m
}

func (m *Matcher) index(j *procedure.Joint) {
	for i := range j.Stages {
		if j.Stages[i].Verifies() {
			m.verify = append(m.verify, i)
		}
	}
	type alike struct {
		stage int
		kind  string
		procedure.Figures
	}
	known := map[alike]int{}
	leg, last := -1, -1
	for i, s := range m.steps {
		key := s.Stage
		switch {
		case s.Action == procedure.Verify:
			key = -2 - s.Stage
		case j.Round == procedure.RoundFastener:
			key = s.Fastener
		}
		if s.Action != procedure.Verify {
			m.tight = i + 1
		}
		if key != last {
			leg, last = leg+1, key
		}
		m.leg = append(m.leg, leg)
		m.at[s.Stage][s.Fastener] = i
		m.highest = max(m.highest, int64(s.Torque)/milli, int64(s.Torques.High)/milli)
		a := alike{s.Stage, j.Fasteners[s.Fastener].Type, s.Figures}
		if _, ok := known[a]; !ok {
			known[a] = len(known)
		}
		m.kind = append(m.kind, known[a])
		if leg == len(m.uniform) {
			m.uniform = append(m.uniform, true)
		} else if m.kind[i-1] != m.kind[i] {
			m.uniform[leg] = false
		}
	}
	m.kinds, m.supposed = len(known), make([]int64, len(known))
}

// reset goes back to before the first observation.
func (m *Matcher) reset() {
	h := &m.now.all[0]
	h.weight, h.pos, h.far, h.last, h.tip, h.parent = 0, -1, -1, -1, nil, nil
	for i := range h.bolts {
		h.bolts[i] = asFitted
	}
	for i := range m.steps {
		h.open.put(i)
	}
	m.now.kept = append(m.now.kept[:0], h)
	m.beliefs, m.chosen, m.seen, m.fitted, m.drags, m.phys = m.now.kept, h, nil, nil, nil, newPhysics(m.kinds)
}

// Steps is the order wanted; a Finding's Step is an index into it.
func (m *Matcher) Steps() []procedure.Step { return m.steps }

// Observe takes the next reading into account and returns the finding as it is said now.
func (m *Matcher) Observe(o Observation) Finding {
	m.seen = append(m.seen, m.observe(o))
	newest := &m.seen[len(m.seen)-1]
	m.beliefs = m.grow(newest)
	m.choose()
	f := m.finding(m.chosen.tip, m.shareOfTip(m.chosen.tip))
	m.locate(&f, &newest.Observation)
	switch {
	case m.rethought:
		m.relearn()
	case f.Confidence >= learnFrom || m.chosen.tip.alike > 1:
		m.learn(newest, m.chosen.tip)
	}
	return f
}

// Name records a person's word on observation i (0-based): a fastener id or NotHere. Everything is weighed again.
func (m *Matcher) Name(i int, fastener string) {
	m.seen[i].Named = fastener
	m.again()
}

// again weighs everything seen so far anew, in the order in which it came.
func (m *Matcher) again() {
	seen, fitted, drags := m.seen, m.fitted, m.drags
	for _, d := range drags {
		m.raise(d.fastener, -d.torque)
	}
	m.reset()
	for k := 0; ; k++ {
		for len(fitted) > 0 && fitted[0].after <= k {
			m.Replace(fitted[0].fastener)
			fitted = fitted[1:]
		}
		for len(drags) > 0 && drags[0].after <= k {
			m.Prevail(drags[0].fastener, drags[0].torque)
			drags = drags[1:]
		}
		if k == len(seen) {
			break
		}
		m.Observe(seen[k].Observation)
	}
	m.chosen = m.beliefs[0]
}

// Through says what a fastener gets of a torque that the wrench shows, where a stage is tightened through an adapter: a
// reading is weighed at each step by the torque that the fastener would have got there. It is for a matcher that has seen
// nothing yet.
func (m *Matcher) Through(stage int, applied func(unit.Torque) unit.Torque) {
	if m.through == nil {
		m.through = make([]func(unit.Torque) unit.Torque, len(m.at))
	}
	m.through[stage] = applied
}

// Rethought is true when the newest observation changed what had been said of earlier ones: see Findings.
func (m *Matcher) Rethought() bool { return m.rethought }

// Settle takes the heaviest hypothesis as what is said, for the close of a joint.
func (m *Matcher) Settle() { m.chosen = m.beliefs[0] }

// choose keeps what was said unless another hypothesis is clearly heavier.
func (m *Matcher) choose() {
	best := m.beliefs[0]
	for _, h := range m.beliefs {
		if h.parent == m.chosen {
			if best.weight-h.weight > changeOfMind {
				break
			}
			best = h
			break
		}
	}
	m.rethought = best.parent != m.chosen
	m.chosen = best
}
