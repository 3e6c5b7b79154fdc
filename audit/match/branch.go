package match

import (
	"slices"

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
func (g *grower) hopeless(prior nats) bool { return g.h.weight+prior+g.o.peak < g.best-pruneAt }

// add appends one branch that stands for alike equal ones.
func (g *grower) add(step, alike int, k Kind, outOfOrder bool, prior nats) {
	s := &g.steps[step]
	prior -= g.o.contradiction(s.Fastener)
	if step >= g.tight && g.tightening(g.h) {
		prior -= verifyEarly
	}
	if g.hopeless(prior) {
		return
	}
	w := g.h.weight + prior
	if k == Loosened {
		w += flat(max(2*g.highest, 1)) + flat(maxAngle)
	} else {
		g.hit.put(step)
		w += g.weigh(g.o, &g.h.bolts[s.Fastener], step)
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

// skipsStage is true where the fastener has not had an earlier stage that covers it.
func (m *Matcher) skipsStage(h *hypothesis, step int) bool {
	s := &m.steps[step]
	for st := range s.Stage {
		if i := m.at[st][s.Fastener]; i >= 0 && h.open.has(i) {
			return true
		}
	}
	return false
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

// nextOpen is the first open step after pos, else the first open one at all, else -1.
func (m *Matcher) nextOpen(h *hypothesis) int {
	if i := h.open.from(h.pos + 1); i >= 0 {
		return i
	}
	return h.open.from(0)
}

// retry is the open step to be done again after the last pull failed or turned a fastener back, else -1.
func (m *Matcher) retry(h *hypothesis) int {
	if h.last < 0 || !h.bolts[m.steps[h.last].Fastener].failed {
		return -1
	}
	f := m.steps[h.last].Fastener
	for st := 0; st <= m.steps[h.last].Stage; st++ {
		if i := m.at[st][f]; i >= 0 && h.open.has(i) {
			return i
		}
	}
	return -1
}

// forward adds the open steps: the retry, the next one, those ahead in its leg, those left behind, the next leg.
func (g *grower) forward() {
	h := g.h
	e := g.nextOpen(h)
	if e < 0 {
		return
	}
	r := g.retry(h)
	if r >= 0 {
		p := pRetry
		if h.tip.kind == Loosened {
			p = pAware
		}
		g.add(r, 1, Retry, false, p)
	}
	behind := g.leftBehind(h, r)
	crossing := h.pos >= 0 && g.leg[e] > g.leg[h.pos] && g.leavesOpen(h, behind)
	// One who was just told that it was out of order may well go back.
	goesBack := crossing || (len(behind) > 0 && h.tip != nil && h.tip.outOfOrder)
	fitted := g.newBolt(behind, e)
	if e != r {
		p := g.nextPrior(r >= 0, goesBack)
		if fitted >= 0 {
			p += pOtherBolt
		}
		g.add(e, 1, Next, crossing, p)
	}
	for k, i := range behind {
		switch {
		case i == e:
		case i == fitted: // which the bench asks for
			g.add(i, 1, MakeGood, false, pNewBolt)
		case goesBack:
			g.add(i, 1, MakeGood, true, pHalf+backTo(k, len(behind)))
		default:
			g.add(i, 1, MakeGood, true, pMakeGood+backTo(k, len(behind)))
		}
	}
	g.ahead(e, r)
}

// newBolt is the first step, of those left behind, of a fastener that got a new bolt which nobody has tightened yet, else
// -1. Where that is the next step e all the same, there is nothing to go back to.
func (g *grower) newBolt(behind []int, e int) int {
	for _, n := range g.fitted {
		if b := &g.h.bolts[n.fastener]; b.stage >= 0 || b.failed {
			continue
		}
		of := func(i int) bool { return g.steps[i].Fastener == n.fastener }
		if k := slices.IndexFunc(behind, of); k >= 0 && behind[k] != e {
			return behind[k]
		}
	}
	return -1
}

// leavesOpen is true where some of those left behind are of the leg that the technician is in.
func (m *Matcher) leavesOpen(h *hypothesis, behind []int) bool {
	return len(behind) > 0 && m.leg[behind[len(behind)-1]] == m.leg[h.pos]
}

// backTo shares out a going back among n that were left behind: mostly to the first, which the bench asks for.
func backTo(k, n int) nats {
	switch {
	case n == 1:
		return 0
	case k == 0:
		return pBackToFirst
	}
	return pBackToOther - ln(int64(n-1))
}

func (g *grower) nextPrior(retrying, goesBack bool) nats {
	p := pNext
	switch {
	case retrying && g.h.tip.kind == Loosened:
		p = pUnaware
	case retrying:
		p = pMoveOn
	case g.hitAgain():
		p = pNoticed
	}
	if goesBack {
		p += pHalf
	}
	return p
}

// hitAgain is true right after a second hit of the fastener that had just been done.
func (g *grower) hitAgain() bool {
	t := g.h.tip
	return t != nil && t.kind == ReHit && t.parent != nil && t.parent.step == t.step
}

// leftBehind lists the open steps up to pos, but the one to be retried; of many, the first and the last few.
func (g *grower) leftBehind(h *hypothesis, retry int) []int {
	behind := g.behind[:0]
	for i := h.open.from(0); i >= 0 && i <= h.pos; i = h.open.from(i + 1) {
		if i == retry {
			continue
		}
		if len(behind) == maxBehind {
			copy(behind[maxBehind/2:], behind[maxBehind/2+1:])
			behind = behind[:maxBehind-1]
		}
		behind = append(behind, i)
	}
	g.behind = behind
	return behind
}

// ahead adds what lies beyond the next step e: the rest of its leg, and the leg after it. Of equals far ahead one stands
// for all, since nothing tells them apart.
func (g *grower) ahead(e, retry int) {
	believed := -1 // who took a second hit of one for the next goes on to the one after that
	if g.hitAgain() {
		believed = g.h.open.from(e + 1)
	}
	for d, k := range []Kind{Skip, Early} {
		one, any := pSkipOne, pSkipAny
		if k == Early {
			one, any = pEarly, pEarlyAny
		}
		if g.hopeless(max(one, any)) && believed < 0 {
			continue
		}
		near, alike := g.openInLeg(g.leg[e]+d, e, retry)
		for n, i := range near {
			switch {
			case i == believed:
				g.add(i, 1, k, true, pBelieved)
			case n == 0:
				g.add(i, 1, k, true, one)
			default:
				g.add(i, alike[n], k, true, any-ln(int64(len(near))))
			}
		}
	}
}

// openInLeg lists the open steps of a leg after step after: the first two, and then the first of every kind with the
// number of those that it stands for.
func (g *grower) openInLeg(leg, after, but int) (near, alike []int) {
	near, alike = g.near[:0], g.alike[:0]
	uniform := leg < len(g.uniform) && g.uniform[leg]
	for i := g.h.open.from(after + 1); i >= 0 && g.leg[i] <= leg; i = g.h.open.from(i + 1) {
		if g.leg[i] != leg || i == but {
			continue
		}
		if uniform && len(near) == 3 {
			alike[2] = g.count(leg, i) // all alike: no need to look at each
			break
		}
		if n := g.same(near, i); n >= 2 {
			alike[n]++
			continue
		}
		near, alike = append(near, i), append(alike, 1)
	}
	g.near, g.alike = near, alike
	return near, alike
}

// count is how many steps of a leg are open from step i on, and the one before them.
func (g *grower) count(leg, i int) int {
	n := 1
	for ; i >= 0 && g.leg[i] == leg; i = g.h.open.from(i + 1) {
		n++
	}
	return n
}

// same is the place in a list of a step that no reading tells from step i, -1: none.
func (g *grower) same(list []int, i int) int {
	for n := len(list) - 1; n >= 0; n-- {
		a, b := &g.h.bolts[g.steps[list[n]].Fastener], &g.h.bolts[g.steps[i].Fastener]
		if g.kind[list[n]] == g.kind[i] && (a.standing == 0) == (b.standing == 0) && a.stage == b.stage {
			return n
		}
	}
	return -1
}

// again adds the re-hits: the last step; and of every other fastener its highest done stage, one for all that are alike.
func (g *grower) again() {
	last := -1
	if g.h.last >= 0 && !g.h.open.has(g.h.last) {
		last = g.h.last
		g.add(last, 1, ReHit, false, pReHitLast)
	}
	if g.hopeless(pReHitAny) {
		return
	}
	others, alike, all := g.near[:0], g.alike[:0], 0
	for i := g.h.far; i >= 0; i-- {
		if g.h.open.has(i) || i == last || !g.highestDone(i) {
			continue
		}
		all++
		if n := g.same(others, i); n >= 0 {
			alike[n]++
			continue
		}
		others, alike = append(others, i), append(alike, 1)
	}
	for n, i := range others {
		g.add(i, alike[n], ReHit, false, pReHitAny+ln(int64(alike[n]))-ln(int64(all)))
	}
	g.near, g.alike = others, alike
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

// highestDone is true where the fastener of a done step has done no later one, and does not wait for its verification.
func (g *grower) highestDone(step int) bool {
	s := &g.steps[step]
	for st := s.Stage + 1; st < len(g.at); st++ {
		if i := g.at[st][s.Fastener]; i >= 0 && !g.h.open.has(i) {
			return false
		}
	}
	return !g.toVerify(s.Fastener)
}

// pointed adds what a tag or a person points at, where no branch has gone there yet.
func (g *grower) pointed() {
	f := g.o.named
	if f == unsaid {
		f = g.o.tagged
	}
	if f < 0 {
		return
	}
	for st := range g.at {
		i := g.at[st][f]
		if i < 0 || g.hit.has(i) {
			continue
		}
		if g.h.open.has(i) {
			g.add(i, 1, Skip, true, pSkipAny)
			return
		}
		if g.highestDone(i) {
			g.add(i, 1, ReHit, false, pReHitAny)
		}
	}
}

// back adds the fasteners that a loosening outside a loosening stage may have turned back.
func (g *grower) back() {
	last := -1
	if g.h.last >= 0 {
		last = g.steps[g.h.last].Fastener
	}
	set := g.near[:0]
	for f := range g.h.bolts {
		if g.h.bolts[f].stage < 0 {
			continue
		}
		i := g.at[g.h.bolts[f].stage][f]
		if f == last {
			g.add(i, 1, Loosened, false, pBackLast)
			continue
		}
		set = append(set, i)
	}
	for _, i := range set {
		g.add(i, 1, Loosened, false, pBackOther-ln(int64(len(set))))
	}
	g.near = set
}
