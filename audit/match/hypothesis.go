package match

import (
	"cmp"
	"slices"

	"witnessmark/audit"
	"witnessmark/audit/judge"
	"witnessmark/audit/procedure"
	"witnessmark/device"
	"witnessmark/device/unit"
)

// fastener is where one fastener stands in a hypothesis.
type fastener struct {
	done     uint64 // a bit per stage
	stage    int    // of the last pull, -1: none
	failed   bool   // the last pull did not pass, or turned it back
	standing unit.Torque
	turned   unit.Angle // in that stage so far
}

// hypothesis is one way in which everything seen so far may have come about.
type hypothesis struct {
	weight nats
	pos    int // step where the technician is in the order, -1: before the first
	far    int // the furthest pos there has been
	last   int // step of the last pull on this joint, -1: none
	bolts  []fastener
	tip    *node
	parent *hypothesis // the one it grew from
}

// node attributes one observation; the chain through parent goes back to the first.
type node struct {
	parent     *node
	step       int
	kind       Kind
	outOfOrder bool
	turned     unit.Angle
	stood      unit.Torque
	verdict    audit.Verdict
}

// branch is a possible attribution before it is worth a copy of the state.
type branch struct {
	from       *hypothesis
	step       int
	kind       Kind
	outOfOrder bool
	weight     nats
}

// grow branches every hypothesis by observation o and keeps the heaviest.
func (m *Matcher) grow(o *Observation) []*hypothesis {
	all := m.scratch[:0]
	for _, h := range m.beliefs {
		all = m.branches(all, h, o)
	}
	m.scratch = all
	best := all[0].weight
	for i := range all {
		best = max(best, all[i].weight)
	}
	all = slices.DeleteFunc(all, func(b branch) bool { return best-b.weight > pruneAt })
	// Stable: equal weights keep the order of generation, so that the outcome never depends on the sort.
	slices.SortStableFunc(all, func(a, b branch) int { return cmp.Compare(b.weight, a.weight) })
	var kept []*hypothesis
	for _, b := range all[:min(len(all), maxHypotheses)] {
		kept = append(kept, m.apply(b, o, best))
	}
	return kept
}

// branches appends what o may have been under h. There is always at least the stray.
func (m *Matcher) branches(all []branch, h *hypothesis, o *Observation) []branch {
	add := func(step int, k Kind, out bool, prior nats) {
		w := h.weight + prior
		if k == Loosened {
			w += flat(max(2*int64(m.highest)/milli, 1)) + flat(maxAngle)
		} else {
			s := &m.steps[step]
			w += m.phys.weigh(o, &h.bolts[s.Fastener], &s.Figures)
			if k != ReHit && s.Stage > 0 && m.skipsStage(h, s) {
				w -= skipStage
			}
		}
		all = append(all, branch{h, step, k, out, w - m.contradiction(o, m.steps[step].Fastener)})
	}
	m.forward(h, add)
	m.again(h, add)
	if o.Direction == device.Loosen {
		m.back(h, add)
	}
	w := h.weight + lnShare(pStray) + stray(o, m.highest) - m.contradiction(o, -1)
	return append(all, branch{h, -1, Stray, false, w})
}

// skipsStage is true where the fastener has not had an earlier stage that covers it.
func (m *Matcher) skipsStage(h *hypothesis, s *procedure.Step) bool {
	for st := range s.Stage {
		if m.at[st][s.Fastener] >= 0 && h.bolts[s.Fastener].done&(1<<st) == 0 {
			return true
		}
	}
	return false
}

// contradiction is how much a tag, a scanned label or a person's word speaks against fastener f (-1: none of the joint).
func (m *Matcher) contradiction(o *Observation, f int) nats {
	if o.Named != "" {
		named, ok := m.ids[o.Named]
		if !ok {
			named = -1
		}
		if named != f {
			return namedPenalty
		}
		return 0
	}
	if told, _ := m.told(o); told >= 0 && told != f {
		return tagPenalty
	}
	return 0
}

// told is the fastener that a scanned label, else a tag, says the observation was, and which of the two; -1: neither.
func (m *Matcher) told(o *Observation) (fastener int, by audit.LocatedBy) {
	if o.Scanned != "" {
		if f, ok := m.ids[o.Scanned]; ok {
			return f, audit.ByScan
		}
	}
	if o.Tag != "" {
		if f, ok := m.ids[o.Tag]; ok {
			return f, audit.ByTag
		}
	}
	return -1, ""
}

// apply makes the hypothesis of a branch.
func (m *Matcher) apply(b branch, o *Observation, best nats) *hypothesis {
	h := &hypothesis{weight: b.weight - best, pos: b.from.pos, far: b.from.far, last: b.from.last, parent: b.from,
		bolts: slices.Clone(b.from.bolts)}
	n := &node{parent: b.from.tip, step: b.step, kind: b.kind, outOfOrder: b.outOfOrder, verdict: audit.NotJudged}
	h.tip = n
	if b.step < 0 {
		return h
	}
	s := &m.steps[b.step]
	f := &h.bolts[s.Fastener]
	n.stood = f.standing
	if b.kind == Loosened {
		n.verdict = audit.WrongDirection
		*f = fastener{stage: -1, failed: true}
	} else {
		m.pull(f, s, n, o)
	}
	h.last = b.step
	if b.kind != ReHit && b.kind != Retry && b.kind != Loosened {
		h.pos, h.far = b.step, max(h.far, b.step)
	}
	return h
}

// pull brings a fastener to where the observation left it.
func (m *Matcher) pull(f *fastener, s *procedure.Step, n *node, o *Observation) {
	if f.stage == s.Stage {
		n.turned = f.turned
	}
	r := device.Reading{Torque: o.Torque, Angle: o.Angle, Direction: o.Direction}
	n.verdict = judge.Verdict(s.Figures, &r, n.turned, m.classA)
	f.stage, f.turned = s.Stage, n.turned
	if o.Angle != nil {
		f.turned += *o.Angle
	}
	bit := uint64(1) << s.Stage
	switch {
	case n.verdict == audit.Pass:
		f.done, f.failed = f.done|bit, false
	case n.kind == ReHit && n.verdict == audit.LowTorque:
		return // too weak a pull moves nothing
	case n.kind == ReHit:
		// Over-tightened, which a person must see to; in the order of work the step stays behind the technician.
	default:
		f.done, f.failed = f.done&^bit, true
	}
	if s.Action == procedure.LoosenBy {
		f.standing = 0
	} else {
		f.standing = max(f.standing, o.Torque)
	}
}
