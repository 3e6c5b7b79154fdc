package match

import (
	"witnessmark/device"
)

// grower collects the branches of one hypothesis for one observation.
type grower struct {
	*Matcher
	h    *hypothesis
	no   int32 // its index
	o    *observed
	all  []branch
	best nats  // of all branches so far, of every hypothesis
	hit  steps // already branched to as fresh or again, so that a tag adds no second one
}

// branches appends what o may have been under a belief.
func (g *grower) branches(belief int) {
	o, h := g.o, g.beliefs[belief]
	g.h, g.no = h, int32(belief)
	clear(g.hit)
	g.forward()
	g.again()
	g.pointed()
	if o.Direction == device.Loosen {
		g.back()
	}
	p := pStray
	if o.Direction == device.Loosen {
		p = pStrayBack
	}
	w := h.weight + p + stray(o, g.highest) - o.contradiction(elsewhere)
	g.best = max(g.best, w)
	g.all = append(g.all, branch{w, g.no, -1, 1, int32(len(g.all)), Stray, false})
}

// hopeless is true of a prior so low that no likelihood could keep its branch.
func (g *grower) hopeless(prior nats) bool { return g.o.peakTorque+g.o.peakAngle < g.least(prior) }

// least is the likelihood below which a branch with a prior is let go.
func (g *grower) least(prior nats) nats { return g.best - pruneAt - g.h.weight - prior }

// add appends one branch that stands for alike equal ones.
func (g *grower) add(step, alike int, k Kind, outOfOrder bool, prior nats) {
	s := &g.steps[step]
	prior -= g.o.contradiction(s.Fastener)
	if k != Next && step >= g.tight && g.h.pos < g.tight && g.unfinished() {
		prior -= verifyEarly
	}
	if b := g.h.bolt(s.Fastener); b.over && int(b.stage) == s.Stage && k != ReHit && k != Loosened {
		prior += pOverAgain
	}
	if g.hopeless(prior) {
		return
	}
	w := g.h.weight + prior
	if k == Loosened {
		w += flat(max(2*g.highest, 1)) + flat(maxAngle)
	} else {
		g.hit.put(step)
		w += g.weigh(g.o, g.h.bolt(s.Fastener), step, g.least(prior))
		if k != ReHit && g.skipsStage(g.h, step) {
			w -= skipStage
		}
	}
	g.best = max(g.best, w)
	g.all = append(g.all, branch{w, g.no, int32(step), int32(max(alike, 1)), int32(len(g.all)), k, outOfOrder})
}

// tightening is true where there is something left to tighten.
func (m *Matcher) tightening(h *hypothesis) bool {
	i := h.open.from(0)
	return i >= 0 && i < m.tight
}

// unfinished is true where more than one step is left to tighten.
func (g *grower) unfinished() bool {
	i := g.h.open.from(0)
	if i < 0 || i >= g.tight {
		return false
	}
	i = g.h.open.from(i + 1)
	return i >= 0 && i < g.tight
}

// contradiction is how much a tag, a scanned label or a person's word speaks against fastener f (elsewhere: none of the joint).
func (o *observed) contradiction(f int) nats {
	if o.named != unsaid {
		if o.named != f {
			return namedPenalty
		}
		return 0
	}
	if o.tagged != unsaid && o.tagged != f {
		return tagPenalty
	}
	return 0
}

// toVerify is true where all is tightened and a fastener waits for its verification: a pull on it is that.
func (g *grower) toVerify(fastener int) bool {
	for _, st := range g.verify {
		if i := g.at[st][fastener]; i >= 0 && g.h.open.has(i) {
			return !g.tightening(g.h)
		}
	}
	return false
}
