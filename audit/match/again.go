package match

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
		if g.h.bolt(f).stage < 0 {
			continue
		}
		i := g.at[g.h.bolt(f).stage][f]
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
