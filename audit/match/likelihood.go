package match

import (
	"witnessmark/audit/procedure"
	"witnessmark/device"
	"witnessmark/device/unit"
)

const milli = int64(unit.NewtonMetre) / 1000 // µN·m in a mN·m; densities are per mN·m and per m°

// rate is what was learned of the angle a fastener turns per torque, in m° per N·m.
type rate struct {
	sum int64
	n   int
}

func (r rate) value() int64 { return (r.sum + priorRate) / int64(r.n+1) }

func (r *rate) learn(turn unit.Angle, rise unit.Torque) {
	if rise < unit.NewtonMetre || turn <= 0 {
		return
	}
	r.sum += int64(turn) * int64(unit.NewtonMetre) / int64(rise)
	r.n++
}

// physics holds the two rates of a joint: from slack (the wrench counts from its threshold) and from a seated torque.
type physics struct{ slack, seated rate }

// weigh is the logarithm of the likelihood of observation o, had it been a pull on a fastener in state f at a step
// with figures g. Loosening and tightening never explain each other.
func (p *physics) weigh(o *Observation, f *fastener, g *procedure.Figures) nats {
	if (o.Direction == device.Loosen) != (g.Action == procedure.LoosenBy) {
		return never
	}
	switch g.Action {
	case procedure.TightenTo:
		return torqueNear(o.Torque, g.Torque) + p.turnFor(o, f)
	case procedure.TurnBy:
		return p.torqueAfter(o, f, g) + angleNear(o, g.Angle, turnNoise)
	default:
		return flat(int64(max(f.standing, unit.NewtonMetre))*2/milli) + angleNear(o, g.Angle, loosenNoise)
	}
}

// torqueNear weighs a final torque against a target: near it, given up early or run over, or wild.
func torqueNear(t, target unit.Torque) nats {
	x, want := int64(t)/milli, max(int64(target)/milli, 1)
	sigma := max(want*opScatter/1000, 1)
	w := gauss(x-want, sigma*sigma)
	if x >= want*wideLow/1000 && x <= want*wideHigh/1000 {
		w = max(w, lnShare(pWide)+flat(want*(wideHigh-wideLow)/1000))
	}
	if x <= want*wildHigh/1000 {
		return max(w, lnShare(pWild)+flat(want*wildHigh/1000))
	}
	return max(w, never)
}

// turnFor weighs the angle of a pull that ended at o.Torque on a fastener standing at f.standing: it turns by the
// wind-up, and by the rise in torque times the rate.
func (p *physics) turnFor(o *Observation, f *fastener) nats {
	if o.Angle == nil {
		return 0
	}
	r := p.seated
	if f.standing == 0 {
		r = p.slack
	}
	rise := int64(max(o.Torque-f.standing, 0)) * r.value() / int64(unit.NewtonMetre)
	spread := rise * rateScatter(r.n) / 1000
	w := gauss(int64(*o.Angle)-rise-windUp, spread*spread+angleNoise*angleNoise)
	return max(w, oddTurn(int64(*o.Angle)-windUp, rise))
}

// oddTurn weighs a turn that is not what the other fasteners did for such a rise.
func oddTurn(turn, rise int64) nats {
	switch {
	case turn > rise*oddHigh/1000:
		return lnShare(pLongAngle) + flat(maxAngle)
	case rise > 0 && turn >= rise*oddLow/1000:
		return lnShare(pOddAngle) + flat(rise*(oddHigh-oddLow)/1000)
	}
	return lnShare(pShortAngle) + flat(maxAngle)
}

// torqueAfter weighs the torque at the end of a turn: inside the stage's window, else anywhere above where it stood.
func (p *physics) torqueAfter(o *Observation, f *fastener, g *procedure.Figures) nats {
	low, high := f.standing, max(4*f.standing, 20*unit.NewtonMetre)
	if g.Torques.Set {
		low, high = g.Torques.Low, g.Torques.High
	}
	w := flat(int64(high-low)/milli + 1)
	if o.Torque < low || o.Torque > high {
		w += lnShare(pWild)
	}
	return w
}

func angleNear(o *Observation, target unit.Angle, sigma int64) nats {
	if o.Angle == nil {
		return 0
	}
	w := gauss(int64(*o.Angle-target), sigma*sigma)
	return max(w, lnShare(pWide)+flat(maxAngle))
}

// stray is the likelihood of an observation that has nothing to do with the joint, given its highest torque.
func stray(o *Observation, highest unit.Torque) nats {
	w := flat(max(2*int64(max(highest, o.Torque))/milli, 1))
	if o.Angle != nil {
		w += flat(maxAngle)
	}
	return w
}
