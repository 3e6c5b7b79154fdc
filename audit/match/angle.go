package match

// moved weighs the angle of a pull that took a fastener from where it stood to o.torque.
func (m *Matcher) moved(o *observed, f *fastener, kind int) nats {
	if o.angle == none {
		return 0
	}
	tool, standing := &m.phys.tools[o.tool], int64(f.standing)
	rise := max(o.torque-standing, 1)
	g, known := m.phys.own(m.fresh(o.tool, kind, standing == 0), f)
	if g.spread == 0 { // the first pull of a joint: any turn within reason
		return -ln(max(o.angle, leastAngle)) - lnDecades
	}
	turn := g.rate * rise / 1_000_000
	if common := m.phys.seated[kind].rise; standing > 0 && (common == 0 || rise*1000 < common*shortRise) {
		w, _ := tool.windUp(o.torque)
		turn, g.spread = turn+w, max(g.spread, otherStart)
	}
	spread := turn * g.spread / 1000
	w := pUsual + gauss(o.angle-turn, spread*spread+tool.noise())
	if o.angle*1000 >= turn*oddLow { // no friction lets a fastener rise almost without a turn
		w = usual(o.angle-turn, spread*spread, tool.noise())
	}
	return max(w, oddTurn(o.angle, turn, known))
}

// oddTurn weighs a turn that is not what the other fasteners did for such a rise; known: nor what it did itself before.
func oddTurn(angle, turn int64, known bool) nats {
	switch {
	case angle*1000 > turn*oddHigh:
		return pLongAngle + flat(maxAngle)
	case angle*1000 >= turn*oddLow:
		return oddPrior(known) - ln(max(angle, leastAngle)) - lnOdd
	}
	return pShortAngle + flat(max(turn, leastAngle))
}

// nothingMoved weighs the angle of a pull at a fastener that stood there already: only wrench, socket and shank wind
// up, and what little the rise in torque turned.
func (m *Matcher) nothingMoved(o *observed, standing int64, kind int) nats {
	if o.angle == none {
		return 0
	}
	tool, slack := &m.phys.tools[o.tool], m.slackTurn(o.tool, kind, o.torque)
	crept := slack * max(o.torque-standing, 0) / max(o.torque, 1)
	w := pOddAngle + flat(slack)
	if o.angle > slack {
		w = pShortAngle + flat(maxAngle)
	}
	if turn, known := tool.windUp(o.torque); known {
		spread := turn * windSpread / 1000
		w = max(w, gauss(o.angle-turn, spread*spread+crept*crept+tool.noise()))
	}
	for _, share := range windShares { // ln2: all of that density lies above zero
		s := slack * share.of / 1000
		w = max(w, share.weight+ln2+gauss(o.angle, s*s+crept*crept+tool.noise()))
	}
	return w
}

func angleNear(angle, target, sigma int64) nats {
	if angle == none {
		return 0
	}
	return max(gauss(angle-target, sigma*sigma), pWide+flat(maxAngle))
}
