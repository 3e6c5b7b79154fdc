package match

import (
	"cmp"
	"math/bits"
	"slices"

	"witnessmark/audit"
	"witnessmark/audit/procedure"
)

// fastener is where one fastener stands in a hypothesis.
type fastener struct {
	standing int32 // mN·m
	turned   int32 // m°, in the stage of the last pull so far
	total    int32 // m°, in all turning stages so far
	rate     int32 // µ° per N·m in its last fresh pull, 0: none; how its own friction compares with the others'
	lift     int32 // µN·m per ° in its last fresh turn, 0: none
	before   int32 // the sum of how far it turned per torque beside the others in the pulls before those two, ‰
	like     int16 // the kind of step of that pull
	liftLike int16 // the kind of step of that turn
	pulls    int8  // how many before is of
	stage    int8  // of the last pull, -1: none
	tool     int8  // which wrench the last fresh pull was made with
	slack    bool  // that pull was from slack
	failed   bool  // the last pull did not pass, or turned it back
	over     bool  // … because it went too far
	anew     bool  // a new bolt, not yet drawn up as far as the order of work has come
	putOff   bool  // … and others were pulled since it was fitted
}

// steps is a set of steps, a bit each.
type steps []uint64

func (s steps) has(i int) bool { return s[i/64]&(1<<(i%64)) != 0 }
func (s steps) put(i int)      { s[i/64] |= 1 << (i % 64) }
func (s steps) drop(i int)     { s[i/64] &^= 1 << (i % 64) }

// from is the first of the set that is i or more, -1: none.
func (s steps) from(i int) int {
	for w := i / 64; w < len(s); w++ {
		bitset := s[w]
		if w == i/64 {
			bitset &= ^uint64(0) << (i % 64)
		}
		if bitset != 0 {
			return w*64 + bits.TrailingZeros64(bitset)
		}
	}
	return -1
}

// hypothesis is one way in which everything seen so far may have come about.
type hypothesis struct {
	weight nats
	pos    int     // step where the technician is in the order, -1: before the first
	far    int     // the furthest pos there has been
	last   int     // step of the last pull on this joint, -1: none
	bolts  []*pull // by fastener: what left it as it is
	open   steps   // not done yet
	tip    *node
	parent *hypothesis // the one it grew from; of use until the next observation only
}

// bolt is a fastener as it is, to look at.
func (h *hypothesis) bolt(i int) *fastener { return &h.bolts[i].left }

// change is a fastener as it is, to change beside what its last pull left.
func (h *hypothesis) change(i int) *fastener {
	p := &pull{left: h.bolts[i].left}
	h.bolts[i] = p
	return &p.left
}

// node attributes one observation; the chain through parent goes back to the first. Nothing is there as often: what it says
// of the observation is shared by all that say the same.
type node struct {
	parent *node
	*pull
}

// branch is a possible attribution before it is worth a copy of the state.
type branch struct { // without pointers: many are made, few are kept
	weight     nats
	from       int32 // index into the beliefs
	step       int32
	alike      int32
	born       int32
	kind       Kind
	outOfOrder bool
}

// generation is the hypotheses after one observation. Two of them take turns, so that an observation costs no new room.
type generation struct {
	all  [maxHypotheses]hypothesis
	kept []*hypothesis
}

func (m *Matcher) newGeneration(fasteners int) *generation {
	g := &generation{}
	words := (len(m.steps) + 63) / 64
	bolts, open := make([]*pull, maxHypotheses*fasteners), make(steps, maxHypotheses*words)
	for i := range g.all {
		g.all[i].bolts = bolts[i*fasteners : (i+1)*fasteners : (i+1)*fasteners]
		g.all[i].open = open[i*words : (i+1)*words : (i+1)*words]
	}
	return g
}

// grow branches every hypothesis by observation o and keeps the heaviest.
func (m *Matcher) grow(o *observed) []*hypothesis {
	b := grower{Matcher: m, o: o, all: m.scratch[:0], hit: m.hit, best: never * 100}
	for i := range m.beliefs { // the heaviest first, which spares the others their hopeless branches
		b.branches(i)
	}
	all, best := b.all, b.best
	m.scratch = all
	all = slices.DeleteFunc(all, func(b branch) bool { return best-b.weight > pruneAt })
	// Equal weights keep the order of generation, so that the outcome never depends on the sort.
	slices.SortFunc(all, func(a, b branch) int { return cmp.Or(cmp.Compare(b.weight, a.weight), cmp.Compare(a.born, b.born)) })
	before, g := m.beliefs, m.next
	m.next, m.now = m.now, g
	g.kept, m.newest = g.kept[:0], m.newest[:0]
	for _, b := range all[:min(len(all), maxHypotheses)] {
		h := &g.all[len(g.kept)]
		m.apply(h, before[b.from], b, o, best)
		g.kept = append(g.kept, h)
	}
	return g.kept
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

// apply makes the hypothesis of a branch that grew from another.
func (m *Matcher) apply(h, from *hypothesis, b branch, o *observed, best nats) {
	step := int(b.step)
	h.weight, h.pos, h.far, h.last, h.parent = b.weight-best, from.pos, from.far, from.last, from
	copy(h.bolts, from.bolts)
	copy(h.open, from.open)
	p := m.pulled(from, b, o)
	h.tip = &node{from.tip, p}
	if step < 0 {
		return
	}
	f := m.steps[step].Fastener
	h.bolts[f] = p
	m.mark(h, p)
	h.last = step
	if b.kind != ReHit && b.kind != Retry && b.kind != Loosened && !(p.was().anew && step <= h.pos) {
		h.pos, h.far = step, max(h.far, step)
	}
	m.drawUp(h, f)
}

// mark opens and closes the steps of a hypothesis by the newest pull.
func (m *Matcher) mark(h *hypothesis, p *pull) {
	s := &m.steps[p.step]
	switch {
	case p.kind == Loosened:
		m.reopen(h, s.Fastener)
	case s.Action == procedure.Verify: // there is nothing to try again
		h.open.drop(int(p.step))
	default:
		h.settle(p)
		if !p.weak() {
			m.verifyAgain(h, s.Fastener)
		}
	}
}

// verifyAgain opens the verifications of a fastener that was moved: what was found before holds no longer.
func (m *Matcher) verifyAgain(h *hypothesis, fastener int) {
	for _, st := range m.verify {
		if i := m.at[st][fastener]; i >= 0 {
			h.open.put(i)
		}
	}
}

// fresh is true of a pull that moved a fastener as its stage wants.
func fresh(k Kind) bool { return k != ReHit && k != Retry && k != Loosened && k != Stray }

// reopen takes back all that a fastener had reached.
func (m *Matcher) reopen(h *hypothesis, fastener int) {
	for st := range m.at {
		if i := m.at[st][fastener]; i >= 0 {
			h.open.put(i)
		}
	}
}
