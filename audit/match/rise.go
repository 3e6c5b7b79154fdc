package match

import "witnessmark/audit/procedure"

// torqueAfter weighs the torque at the end of a turn: as much above where the fastener stood as the others of its kind
// rose, or anywhere above it; a fastener that was turned before may yield.
func (m *Matcher) torqueAfter(o *observed, f *fastener, s *procedure.Step, kind int) nats {
	standing := int64(f.standing)
	angle := int64(s.Angle)
	if o.angle != none {
		angle = max(o.angle, leastAngle)
	}
	full := angle * 1_000_000 / m.slackRate(o.tool, kind) // what an elastic bolt would rise
	high := standing + full*riseMost/1000
	if s.Torques.Set {
		high = max(high, int64(s.Torques.High)/milli)
	}
	w := pWide + flat(max(2*high, 1))
	if o.torque > high {
		w = pWild + flat(2*max(o.torque, 1))
	}
	if o.torque*1000 < standing*stuckFrom { // below the torque that it stands at nothing turns
		return pShortAngle + flat(2*high)
	}
	g := m.turn(kind)
	if g.spread == 0 {
		if o.torque >= standing && o.torque <= high {
			w = max(w, flat(high-standing+1))
		}
		return w
	}
	its, known := m.phys.lifts(g, f)
	rise, up, sigma := max(its.rate*angle/1_000_000, 1), o.torque-standing, standing*sameTorque/1000
	bend := rise * (angle - int64(s.Angle)) / max(int64(s.Angle), 1) // a bolt that yields does not rise in proportion
	noise2 := sigma*sigma + bend*bend + 1
	if int(f.stage) == s.Stage {
		return max(w, upAgain(up, m.riseAgain(f, its, known, angle), noise2, sigma))
	}
	if f.total > 0 && f.lift > 0 { // turned in a stage before: it may yield in this one
		if elastic := max(int64(f.lift)*angle/1_000_000, 1); up >= -sigma && up*1000 < elastic*giveWay {
			w = max(w, m.mayYield(kind, f)+flat(elastic*giveWay/1000))
		}
	}
	spread := rise * its.spread / 1000
	if up*1000 > rise*oddLow && up*1000 < rise*oddHigh {
		w = max(w, oddPrior(known)-ln(up)-lnOdd)
	}
	if known {
		return max(w, usualOwn(up-rise, spread*spread, noise2))
	}
	return max(w, usual(up-rise, spread*spread, noise2))
}

// riseAgain is how far a fastener should rise in a second turn, as long as it does not yield: as it should have in the first,
// or as it did there.
func (m *Matcher) riseAgain(f *fastener, its guess, known bool, angle int64) guess {
	again := guess{rate: its.rate * angle / 1_000_000, spread: againScatter}
	switch {
	case known:
		again.spread = min(again.spread, its.spread)
	case f.lift > 0:
		again.rate, again.spread = int64(f.lift)*angle/1_000_000, min(again.spread, m.phys.wander.spread*ownAgain/1000)
	}
	again.rate = max(again.rate, 1)
	return again
}

// upAgain weighs by how much the torque rose in a second turn: elastic as in the first, or less, as it yields; but to no less
// than it stood at, as far as the wrench tells.
func upAgain(up int64, again guess, noise2, sigma int64) nats {
	rise, spread := again.rate, again.rate*again.spread/1000
	w := pElastic + gauss(up-rise, spread*spread+noise2)
	if up >= -sigma && up*1000 < rise*giveWay {
		w = max(w, pYields+flat(rise*giveWay/1000))
	}
	return w
}

// mayYield is how likely a bolt yields in a further turn: unknown until the others of its kind have, or have not. Not by its
// own turn before, which may have been another's.
func (m *Matcher) mayYield(kind int, f *fastener) nats {
	now, before := &m.phys.turned[kind], &m.phys.turned[f.liftLike]
	if now.n > 0 && before.n > 0 && now.middle*1000 > before.middle*yieldsBelow {
		return pOddAngle
	}
	return pHalf
}
