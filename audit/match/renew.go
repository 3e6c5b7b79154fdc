package match

import (
	"cmp"
	"slices"
)

// fitted is a new bolt that came after so many observations.
type fitted struct{ after, fastener int }

// Replace says that a new bolt was fitted: it is slack, and every step of it is open. Mostly it takes the place of one
// whose last pull was not as it should be, which tells something of where that pull was.
func (m *Matcher) Replace(f int) {
	m.fitted = append(m.fitted, fitted{len(m.seen), f})
	for _, h := range m.beliefs {
		h.weight += m.whyRenewed(h, f)
		h.bolts[f] = asFitted
		m.reopen(h, f)
		h.change(f).anew = m.catchUp(h, f) >= 0
	}
	slices.SortStableFunc(m.beliefs, func(a, b *hypothesis) int { return cmp.Compare(b.weight, a.weight) })
}

// whyRenewed is how likely a person renews fastener f under a belief. Where the last pull was not as it should be, or turned a
// bolt back, it is mostly that one which comes out.
func (m *Matcher) whyRenewed(h *hypothesis, f int) nats {
	w := pGoodRenewed
	switch {
	case h.bolt(f).failed:
		w = pBadRenewed
	case h.pos >= 0 && int(h.bolt(f).stage) < m.steps[h.pos].Stage && m.at[m.steps[h.pos].Stage][f] >= 0:
		w = pAheadRenewed
	}
	if t := h.tip; t != nil && t.step >= 0 && m.steps[t.step].Fastener != f && h.bolt(m.steps[t.step].Fastener).failed {
		w += pOtherBolt
	}
	return w
}

// drawUp takes note of a pull on a fastener, where new bolts were fitted: one that has caught up is as the others, and the
// others wait.
func (m *Matcher) drawUp(h *hypothesis, pulled int) {
	for _, n := range m.fitted {
		was := h.bolt(n.fastener)
		anew, putOff := was.anew, was.anew
		if n.fastener == pulled {
			anew, putOff = was.anew && m.catchUp(h, pulled) >= 0, false
		}
		if anew != was.anew || putOff != was.putOff {
			f := h.change(n.fastener)
			f.anew, f.putOff = anew, putOff
		}
	}
}

// catchUp is the first open step of a fastener up to where the technician is in the order, -1: none.
func (m *Matcher) catchUp(h *hypothesis, fastener int) int {
	for st := range m.at {
		if i := m.at[st][fastener]; i >= 0 && i <= h.pos && h.open.has(i) {
			return i
		}
	}
	return -1
}

// waiting is the step that a new bolt needs to catch up with the order of work, -1: none, and how likely the technician goes
// there now, and how likely somewhere else.
type waiting struct {
	step             int
	there, elsewhere nats
}

// newBolt is what a new bolt waits for, where e is the next step of the order; of several bolts, that of the one fitted last.
// It is drawn up at once, or at the end of the leg.
func (g *grower) newBolt(e int) waiting {
	i := g.fittedLast()
	if i < 0 || i == e {
		return waiting{step: i}
	}
	ended := e <= g.h.pos || g.leg[e] != g.leg[g.h.pos]
	if g.h.bolt(g.steps[i].Fastener).putOff && !ended {
		return waiting{i, pOtherBolt, pNewBolt}
	}
	return waiting{i, pNewBolt, pOtherBolt}
}

// fittedLast is the step that the bolt fitted last, of those that have not caught up, needs first, -1: all have.
func (g *grower) fittedLast() int {
	for k := len(g.fitted) - 1; k >= 0; k-- {
		if f := g.fitted[k].fastener; g.h.bolt(f).anew {
			if i := g.catchUp(g.h, f); i >= 0 {
				return i
			}
		}
	}
	return -1
}

// passesOver is how likely the technician leaves out the next step e, which may be that of a new bolt that waits.
func (g *grower) passesOver(e int, n waiting) nats {
	if n.step >= 0 && e > g.h.pos && g.steps[n.step].Fastener == g.steps[e].Fastener {
		return n.elsewhere
	}
	return pSkipOne
}

// drawsUp is Next where a new bolt is drawn up already, so that its step is the one expected.
func (g *grower) drawsUp(step int) Kind {
	if g.h.bolt(g.steps[step].Fastener).stage >= 0 {
		return Next
	}
	return MakeGood
}
