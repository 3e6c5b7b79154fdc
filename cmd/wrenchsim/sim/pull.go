package sim

import "math/rand/v2"

// Pull is what one pull came to, as the wrench's sensors saw it before rounding.
type Pull struct {
	Torque  float64 // final torque, N·m, never negative
	Angle   float64 // angle shown, degrees, never negative
	Turned  float64 // angle by which the bolt itself turned, degrees
	Loosens bool
}

// Gauge is how a wrench measures.
type Gauge struct {
	Threshold float64 // torque in N·m from which the wrench counts angle
	WindUp    float64 // elastic bend of wrench, socket and extension, degrees per N·m
}

// Hand is the operator's: how far past the aim it lets go.
type Hand struct {
	Overshoot float64 // mean share past an aimed torque
	Scatter   float64 // relative standard deviation about it
	Angle     float64 // standard deviation in degrees about an aimed angle
}

// CommonHand is a practised one.
func CommonHand() Hand { return Hand{Overshoot: 0.005, Scatter: 0.008, Angle: 1} }

// shown is the angle in degrees that the gauge counts while the bolt is taken to the torque: the turn above the
// threshold and the wind-up of the wrench itself.
func (g Gauge) shown(b *Bolt, torque float64) float64 {
	if torque <= g.Threshold {
		return 0
	}
	return b.turnTo(torque) - b.turnTo(g.Threshold) + (torque-g.Threshold)*g.WindUp
}

// TightenTo pulls the bolt until the wrench shows the torque (N·m). A bolt that stands near the aim already does not
// turn: the hand pulls until it gives way, which takes a little more than it stands at, and only the wind-up shows.
func (b *Bolt) TightenTo(torque float64, g Gauge, h Hand, source *rand.Rand) Pull {
	b.settle(source)
	return b.stopAt(torque*(1+h.Overshoot+h.Scatter*normal(source)), g)
}

// StopAt pulls the bolt to exactly this torque (N·m): a hand that let go early, or an aim without scatter.
func (b *Bolt) StopAt(torque float64, g Gauge) Pull { return b.stopAt(torque, g) }

// near is the share of the standing torque from which a hand goes on until the bolt gives way.
const near = 0.95

func (b *Bolt) stopAt(torque float64, g Gauge) Pull {
	if b.standing > 0 && torque < b.breakaway() {
		if torque >= near*b.standing {
			torque = b.breakaway()
		}
		return Pull{Torque: torque, Angle: max(0, torque-g.Threshold) * g.WindUp}
	}
	p := Pull{Torque: torque, Angle: g.shown(b, torque), Turned: b.turnTo(torque)}
	b.stand(torque)
	return p
}

// TurnBy pulls the bolt until the wrench shows the angle (degrees), counted from its threshold.
func (b *Bolt) TurnBy(angle float64, g Gauge, h Hand, source *rand.Rand) Pull {
	b.settle(source)
	angle = max(0, angle+h.Angle*normal(source))
	low, high := g.Threshold, max(b.standing, g.Threshold)+angle*b.rate
	for range 60 { // bisection: shown rises with torque and is straight in pieces
		if mid := (low + high) / 2; g.shown(b, mid) < angle {
			low = mid
		} else {
			high = mid
		}
	}
	p := Pull{Torque: high, Angle: angle, Turned: b.turnTo(high)}
	if p.Turned > 0 {
		b.stand(high)
	}
	return p
}

// MoveOn pulls a bolt that stands until it moves on, and a little further by the angle (degrees): the torque shown is that at
// which it broke away, or that at the end where it is more. A residual torque is found so.
func (b *Bolt) MoveOn(angle float64, g Gauge, source *rand.Rand) Pull {
	b.settle(source)
	end := b.standing + angle*b.rate
	p := Pull{Torque: max(end, b.breakaway()), Turned: angle}
	p.Angle = angle + max(0, p.Torque-g.Threshold)*g.WindUp
	b.stand(end)
	return p
}

// Loosen turns the bolt back by the angle (degrees). The final torque is the one that broke it loose.
func (b *Bolt) Loosen(angle float64, h Hand, source *rand.Rand) Pull {
	angle = max(0, angle+h.Angle*normal(source))
	p := Pull{Torque: b.standing * b.spec.OffRatio, Angle: angle, Turned: angle, Loosens: true}
	b.standing = max(0, b.standing-angle*b.rate)
	return p
}
