package match

// deviation is a scatter in ‰ that is learned, from what friction commonly does.
type deviation struct {
	sum, n int64
	spread int64 // that of now
}

// add takes in by how much a fastener was off, of which so many ‰ are in the forecast. Who is further off than
// wanderMost is a slip or odd, and no measure of the usual.
func (d *deviation) add(permille, widened int64) {
	permille = max(permille, -permille) * 1000 / widened
	permille = min(permille, wanderMost*d.spread)
	d.sum, d.n = d.sum+permille*permille, d.n+1
	d.spread = root((ownScatter*ownScatter*ownSamples + d.sum) / (ownSamples + d.n))
}

// keep puts what is known of a fastener by its last pull and its last turn together with what was before, ahead of the next.
func (f *fastener) keep(p *physics) {
	if r, ok := p.pulled(f); ok {
		f.before, f.pulls = f.before+int32(r), f.pulls+1
	}
	if r, ok := p.lifted(f); ok {
		f.before, f.pulls = f.before+int32(r), f.pulls+1
	}
	f.rate, f.lift = 0, 0
}

// pulled is how far a fastener turned per torque beside the others in its last pull, ‰.
func (p *physics) pulled(f *fastener) (ratio int64, known bool) {
	if f.rate == 0 {
		return 0, false
	}
	s := &p.seated[f.like]
	if f.slack {
		s = &p.tools[f.tool].slack[f.like]
	}
	if s.n < knownFrom {
		return 0, false
	}
	return min(max(int64(f.rate)*1000/s.middle, oddLow), oddHigh), true
}

// lifted is the same of its last turn.
func (p *physics) lifted(f *fastener) (ratio int64, known bool) {
	if f.lift == 0 {
		return 0, false
	}
	s := &p.turned[f.liftLike]
	if s.n < knownFrom {
		return 0, false
	}
	return min(max(s.middle*1000/int64(f.lift), oddLow), oddHigh), true
}

// slackness is how far a fastener should turn per torque beside the others, ‰, by so many pulls of its own; 0: none is known.
// The fewer, the more it is drawn to the others; one that is far off is odd, and stays so.
func (p *physics) slackness(f *fastener) (ratio, pulls int64) {
	sum, pulls := int64(f.before), int64(f.pulls)
	if r, ok := p.pulled(f); ok {
		sum, pulls = sum+r, pulls+1
	}
	if r, ok := p.lifted(f); ok {
		sum, pulls = sum+r, pulls+1
	}
	if pulls == 0 {
		return 1000, 0
	}
	mean := sum / pulls
	off := (mean - 1000) * 1000 / (frictionScatter + ownOff*p.wander.spread)
	drawn := ownDrawn * 1000 / (1000 + off*off/1000)
	return (mean*pulls*1000 + 1000*drawn) / (pulls*1000 + drawn), pulls
}

// own turns the guess for a kind into the one for a fastener: who turned less than the others in the stages before will
// turn less again, for most of the friction is its own.
func (p *physics) own(g guess, f *fastener) (its guess, known bool) {
	ratio, pulls := p.slackness(f)
	if g.spread == 0 || pulls == 0 {
		return g, false
	}
	return guess{g.rate * ratio / 1000, p.widened(g, pulls), g.of}, true
}

// lifts turns what a turn of a kind should rise per angle into what a fastener should.
func (p *physics) lifts(g guess, f *fastener) (its guess, known bool) {
	ratio, pulls := p.slackness(f)
	if g.spread == 0 || pulls == 0 {
		return g, false
	}
	return guess{g.rate * 1000 / ratio, p.widened(g, pulls), g.of}, true
}

// widened is the scatter of a forecast that rests on so many pulls of the fastener itself, and so many of the others.
func (p *physics) widened(g guess, pulls int64) int64 {
	return max(p.wander.spread*widening(pulls, g.of)/1000, 1)
}

// widening is how much further off than friction wanders such a forecast is, ‰.
func widening(own, others int64) int64 { return widenings[min(own, maxOwn)][min(others, maxOthers)] }

// widenings are the roots of 1 + 1/own + 1/others: the variance of a pull about a difference of two means.
var widenings = func() (all [maxOwn + 1][maxOthers + 1]int64) {
	for own := range all {
		for others := range all[own] {
			v := int64(1_000_000 + 1_000_000/max(own, 1))
			if others > 0 {
				v += 1_000_000 / int64(others)
			} else {
				v += otherStage * 1_000_000
			}
			all[own][others] = root(v)
		}
	}
	return all
}()
