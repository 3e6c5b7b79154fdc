package match

import (
	"witnessmark/audit/procedure"
	"witnessmark/device"
)

// none is an angle that was not sent.
const none = int64(-1) << 62

// observed is an observation in the matcher's own units.
type observed struct {
	Observation
	torque int64 // mN·m
	angle  int64 // m°, or none
	// The fastener that a person named, and that of a scanned label or the wrench's tag: its index, elsewhere, or unsaid.
	named, tagged int
	tool          int
	// No likelihood of the torque is higher, and none of the angle.
	peakTorque, peakAngle nats
	// by stage: the observation as it would be at a fastener there; nil: the same everywhere.
	applied []observed
}

// at is the observation as it would be at a fastener in a stage.
func (o *observed) at(stage int) *observed {
	if o.applied == nil {
		return o
	}
	return &o.applied[stage]
}

const (
	elsewhere = -1
	unsaid    = -2
)

func (m *Matcher) observe(o Observation) observed {
	seen := observed{Observation: o, torque: int64(o.Torque) / milli, angle: none, named: unsaid, tagged: unsaid, tool: m.phys.tool(o.Wrench)}
	if o.Angle != nil {
		seen.angle = int64(*o.Angle)
		m.phys.tools[seen.tool].see(seen.angle)
	}
	if o.Named != "" {
		seen.named = elsewhere
		if f, ok := m.ids[o.Named]; ok {
			seen.named = f
		}
	}
	if f, _ := m.told(&o); f >= 0 {
		seen.tagged = f
	}
	seen.applied = m.applied(&seen)
	lowest := seen.torque
	for i := range seen.applied {
		lowest = min(lowest, seen.applied[i].torque)
	}
	// The narrowest density is that of a torque near its target or, at the end of a turn, near where a fastener stood.
	seen.peakTorque = gauss(0, max(lowest*opScatter/1500, 1)*max(lowest*opScatter/1500, 1))
	if o.Angle != nil {
		seen.peakAngle = gauss(0, angleNoise*angleNoise) + ln2
	}
	return seen
}

// applied is what an observation would be in each stage, nil where no stage has an adapter.
func (m *Matcher) applied(o *observed) []observed {
	if m.through == nil || o.Corrected {
		return nil
	}
	out := make([]observed, len(m.through))
	for i, applied := range m.through {
		out[i] = *o
		if applied != nil {
			out[i].Torque, out[i].Guard = applied(o.Torque), applied(o.Guard)
			out[i].torque = int64(out[i].Torque) / milli
		}
	}
	return out
}

// weigh is the logarithm of the likelihood of o, had it been a pull on a fastener in state f at a step. Loosening and
// tightening never explain each other. Where it cannot reach the least that counts, it is enough that it is below that.
func (m *Matcher) weigh(o *observed, f *fastener, step int, least nats) nats {
	s := &m.steps[step]
	o = o.at(s.Stage)
	if (o.Direction == device.Loosen) != (s.Action == procedure.LoosenBy) {
		return never
	}
	standing := int64(f.standing)
	switch s.Action {
	case procedure.TightenTo:
		target := int64(s.Torque) / milli
		if standing*1000 >= o.torque*stuckFrom {
			return againNear(o.torque, target) + m.nothingMoved(o, standing, m.kind[step])
		}
		w := torqueNear(o.torque, target)
		if w+o.peakAngle < least {
			return w + o.peakAngle
		}
		return w + m.moved(o, f, m.kind[step])
	case procedure.TurnBy:
		w := angleNear(o.angle, int64(s.Angle), turnNoise)
		if w+o.peakTorque < least {
			return w + o.peakTorque
		}
		return w + m.torqueAfter(o, f, s, m.kind[step])
	case procedure.Verify:
		return m.movesAt(o, s, standing, m.kind[step])
	default:
		return m.breaksLoose(o.torque, standing) + angleNear(o.angle, int64(s.Angle), loosenNoise)
	}
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
	w = max(w, pUsual+gauss(o.torque-standing*(1000+residual/2)/1000, sigma*sigma))
	if o.angle == none {
		return w
	}
	return w + m.nothingMoved(o, max(standing, 1), kind)
}

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

// moved weighs the angle of a pull that took a fastener from where it stood to o.torque.
func (m *Matcher) moved(o *observed, f *fastener, kind int) nats {
	if o.angle == none {
		return 0
	}
	tool, standing := &m.phys.tools[o.tool], int64(f.standing)
	rise := max(o.torque-standing, 1)
	g, known := m.phys.own(m.fresh(o.tool, kind, standing == 0), f)
	if g.spread == 0 { // the first pull of a joint: any turn within reason
		return -ln(max(o.angle, 1000)) - lnDecades
	}
	turn := g.rate * rise / 1_000_000
	if usual := m.phys.seated[kind].rise; standing > 0 && (usual == 0 || rise*1000 < usual*600) {
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

// usual weighs a deviation of a fastener from what it should do. Friction has heavier tails than a normal density: most
// pulls scatter as measured, some twice as much.
func usual(deviation, scatter2, noise2 int64) nats {
	return max(pUsual+gauss(deviation, scatter2+noise2), pTail+gauss(deviation, tail2*scatter2+noise2))
}

// usualOwn weighs a deviation from what the fastener did itself before, which has lighter ones: its own friction is known.
func usualOwn(deviation, scatter2, noise2 int64) nats {
	return max(pUsual+gauss(deviation, scatter2+noise2), pOwnTail+gauss(deviation, ownTail2*scatter2+noise2))
}

// oddTurn weighs a turn that is not what the other fasteners did for such a rise; known: nor what it did itself before.
func oddTurn(angle, turn int64, known bool) nats {
	switch {
	case angle*1000 > turn*oddHigh:
		return pLongAngle + flat(maxAngle)
	case angle*1000 >= turn*oddLow:
		return oddPrior(known) - ln(max(angle, 1000)) - lnOdd
	}
	return pShortAngle + flat(max(turn, 1000))
}

func oddPrior(known bool) nats {
	if known {
		return pOddNow
	}
	return pOddAngle
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
	for _, share := range windShares {
		s := slack * share.of / 1000
		w = max(w, share.weight+ln2+gauss(o.angle, s*s+crept*crept+tool.noise()))
	}
	return w
}

// torqueAfter weighs the torque at the end of a turn: as much above where the fastener stood as the others of its kind
// rose, or anywhere above it; a fastener that was turned before may yield.
func (m *Matcher) torqueAfter(o *observed, f *fastener, s *procedure.Step, kind int) nats {
	standing := int64(f.standing)
	angle := int64(s.Angle)
	if o.angle != none {
		angle = max(o.angle, 1000)
	}
	full := angle * 1_000_000 / m.slackRate(o.tool, kind) // what an elastic bolt would rise
	high := standing + full*3/2
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
		again.rate, again.spread = int64(f.lift)*angle/1_000_000, min(again.spread, m.phys.wander.spread*3/2)
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

// mayYield is how likely a bolt yields in a further turn: unknown until the others of its kind have, or have not. Not by its own
// turn before, which may have been another's.
func (m *Matcher) mayYield(kind int, f *fastener) nats {
	now, before := &m.phys.turned[kind], &m.phys.turned[f.liftLike]
	if now.n > 0 && before.n > 0 && now.middle*1000 > before.middle*yieldsBelow {
		return pOddAngle
	}
	return pHalf
}

func angleNear(angle, target, sigma int64) nats {
	if angle == none {
		return 0
	}
	return max(gauss(angle-target, sigma*sigma), pWide+flat(maxAngle))
}

// stray is the likelihood of an observation that has nothing to do with the joint, given its highest torque.
func stray(o *observed, highest int64) nats {
	w := flat(max(2*max(highest, o.torque), 1))
	if o.angle != none {
		w += flat(maxAngle)
	}
	return w
}

// windShares says what part of a slack fastener's turn the wind-up may be before any was seen, ‰.
var windShares = []struct {
	of     int64
	weight nats
}{{70, lnShare(700_000)}, {220, lnShare(270_000)}}

// share of the logarithms used above.
var (
	lnOdd     = ln(1_830_000) - lnCertain // ln(2.5/0.4): width of oddLow … oddHigh in logarithms
	lnDecades = ln(4_970_000) - lnCertain // ln(144)
)
