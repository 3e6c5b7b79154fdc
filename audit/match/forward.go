package match

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

// nextOpen is the first open step after pos, else the first open one at all, else -1.
func (m *Matcher) nextOpen(h *hypothesis) int {
	if i := h.open.from(h.pos + 1); i >= 0 {
		return i
	}
	return h.open.from(0)
}

// retry is the open step to be done again after the last pull failed or turned a fastener back, else -1.
func (m *Matcher) retry(h *hypothesis) int {
	if h.last < 0 || !h.bolt(m.steps[h.last].Fastener).failed {
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
	r := g.tryAgain()
	behind := g.leftBehind(h, r)
	crossing := h.pos >= 0 && g.leg[e] > g.leg[h.pos] && g.leavesOpen(h, behind)
	// One who was just told that it was out of order may well go back.
	goesBack := crossing || (len(behind) > 0 && h.tip != nil && h.tip.outOfOrder)
	n := g.newBolt(e)
	over := e <= h.pos && len(behind) > 1 // the order is at its end and several are left, so that one of them must be next
	if e != r {
		p := g.nextPrior(r >= 0, goesBack) + n.elsewhere
		if over {
			p += pBackToFirst
		}
		g.add(e, 1, Next, crossing, p)
	}
	for k, i := range behind {
		switch {
		case i == e:
		case i == n.step: // which the bench asks for
			g.add(i, 1, g.drawsUp(i), false, n.there)
		case over:
			g.add(i, 1, MakeGood, true, pNext+backTo(k, len(behind)))
		case goesBack:
			g.add(i, 1, MakeGood, true, pHalf+backTo(k, len(behind)))
		default:
			g.add(i, 1, MakeGood, true, pMakeGood+backTo(k, len(behind)))
		}
	}
	g.ahead(e, r, g.passesOver(e, n))
}

// tryAgain adds the retry, and tells its step, -1: there is none.
func (g *grower) tryAgain() int {
	r := g.retry(g.h)
	if r >= 0 {
		p := pRetry
		if g.h.tip.kind == Loosened {
			p = pAware
		}
		g.add(r, 1, Retry, false, p)
	}
	return r
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
	case retrying && g.h.bolt(g.steps[g.h.last].Fastener).over:
	case retrying:
		p = pMoveOn
	case g.h.hitAgain():
		p = pNoticed
	}
	if goesBack {
		p += pHalf
	}
	return p
}

// hitAgain is true right after a second hit of the fastener that had just been done.
func (h *hypothesis) hitAgain() bool {
	t := h.tip
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
// for all, since nothing tells them apart. one is how likely the technician passes over e.
func (g *grower) ahead(e, retry int, one nats) {
	believed := -1 // who took a second hit of one for the next goes on to the one after that
	if g.h.hitAgain() {
		believed = g.h.open.from(e + 1)
	}
	for d, k := range []Kind{Skip, Early} {
		any := pSkipAny
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
		a, b := g.h.bolt(g.steps[list[n]].Fastener), g.h.bolt(g.steps[i].Fastener)
		if g.kind[list[n]] == g.kind[i] && (a.standing == 0) == (b.standing == 0) && a.stage == b.stage {
			return n
		}
	}
	return -1
}
