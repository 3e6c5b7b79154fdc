package match

import "witnessmark/audit/procedure"

// torqueNear weighs a final torque against a target: near it, given up early or run over, or wild.
func torqueNear(t, target int64) nats {
	target = max(target, 1)
	sigma := max(target*opScatter/1000, 1)
	w := gauss(t-target, sigma*sigma)
	if t*1000 >= target*wideLow && t*1000 <= target*wideHigh {
		w = max(w, pWide+flat(target*(wideHigh-wideLow)/1000))
	}
	if t*1000 <= target*wildHigh {
		return max(w, pWild+flat(target*wildHigh/1000))
	}
	return max(w, never)
}

// againNear weighs the torque of a second pull at a fastener that stands there already: a hand that feels no turn goes
// on until it gives way.
func againNear(t, target int64) nats {
	w := torqueNear(t, target)
	if t >= target && t*1000 <= target*giveWay {
		w = max(w, pHalf+flat(target*(giveWay-1000)/1000))
	}
	return w
}

// breaksLoose weighs the torque of a loosening: about what the fastener stood at, or anything; next to nothing where it was
// loose already.
func (m *Matcher) breaksLoose(t, standing int64) nats {
	most := max(standing*breakMost/1000, m.highest/looseFrom)
	if t <= most {
		return flat(most)
	}
	return pWide + flat(2*max(m.highest, t))
}

// movesAt weighs a verification: the torque at which a fastener moves on, about what it stands at or anywhere about its
// window, and hardly a turn.
func (m *Matcher) movesAt(o *observed, s *procedure.Step, standing int64, kind int) nats {
	low, high := int64(s.Torques.Low)/milli, int64(s.Torques.High)/milli
	w := pWide + flat(2*max(high, o.torque))
	if o.torque >= low && o.torque <= high {
		w = max(w, pTail+flat(high-low+1))
	}
	if loose := m.highest / looseFrom; standing <= loose && o.torque <= loose {
		w = max(w, flat(loose+1))
	}
	sigma := max(standing*residual/1000, 1)
	w = max(w, pUsual+gauss(o.torque-standing*(1000+residualOver)/1000, sigma*sigma))
	if o.angle == none {
		return w
	}
	return w + m.nothingMoved(o, max(standing, 1), kind)
}
