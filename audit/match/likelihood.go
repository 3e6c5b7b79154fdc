package match

import (
	"witnessmark/audit/procedure"
	"witnessmark/device"
)

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

// usual weighs a deviation of a fastener from what it should do. Friction has heavier tails than a normal density: most
// pulls scatter as measured, some by the root of tail2 more.
func usual(deviation, scatter2, noise2 int64) nats {
	return max(pUsual+gauss(deviation, scatter2+noise2), pTail+gauss(deviation, tail2*scatter2+noise2))
}

// usualOwn weighs a deviation from what the fastener did itself before, which has lighter ones: its own friction is known.
func usualOwn(deviation, scatter2, noise2 int64) nats {
	return max(pUsual+gauss(deviation, scatter2+noise2), pOwnTail+gauss(deviation, ownTail2*scatter2+noise2))
}

func oddPrior(known bool) nats {
	if known {
		return pOddNow
	}
	return pOddAngle
}

// stray is the likelihood of an observation that has nothing to do with the joint, given its highest torque.
func stray(o *observed, highest int64) nats {
	w := flat(max(2*max(highest, o.torque), 1))
	if o.angle != none {
		w += flat(maxAngle)
	}
	return w
}
