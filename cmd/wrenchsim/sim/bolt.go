// Package sim plays the bench without a bench: bolts that wind up, yield and stick, hands that overshoot, and digital
// wrenches on pseudo-terminals or TCP that keep a reading until it is acknowledged. It also tells the truth about every
// pull, so that a finding can be held against what really happened.
//
// Floats are for what is simulated, here and in the packages that play on it: a reading leaves as decimal text in the wrench's
// own resolution.
package sim

import (
	"math"
	"math/rand/v2"
)

// BoltSpec says what kind of bolt a group of fasteners is. Torques are in N·m, angles in degrees.
type BoltSpec struct {
	Rate       float64 // torque rate of the joint while elastic, N·m per degree of turn
	Scatter    float64 // relative standard deviation of the friction from bolt to bolt; it scales Rate
	Yield      float64 // torque at which the bolt yields; 0: never
	YieldRatio float64 // rate past yield as a share of Rate
	Stiction   float64 // share by which the torque to move a standing bolt again exceeds the torque it stands at
	Wander     float64 // relative standard deviation of the friction from pull to pull of the same bolt
	OffRatio   float64 // share of the standing torque that loosens it: below 1, as the thread's slope helps
}

// CommonBolt is an oiled steel bolt of an engine block. The shares are common practice, rounded.
func CommonBolt() BoltSpec {
	return BoltSpec{Rate: 1.2, Scatter: 0.08, YieldRatio: 0.15, Stiction: 0.04, OffRatio: 0.85}
}

// Bolt is one bolt in its hole. It remembers the torque it stands at and how far it was stretched.
type Bolt struct {
	spec     BoltSpec
	own      float64 // N·m per degree, this bolt's own
	rate     float64 // … in this pull
	yield    float64 // torque at which it yields now: work hardening moves it up
	standing float64 // torque it stands at
}

// NewBolt draws one bolt of a kind; the same source gives the same bolt.
func NewBolt(spec BoltSpec, source *rand.Rand) *Bolt {
	b := &Bolt{spec: spec, rate: spec.Rate * math.Max(0.2, 1+spec.Scatter*normal(source)), yield: spec.Yield}
	b.own = b.rate
	if b.yield <= 0 {
		b.yield = math.Inf(1)
	}
	return b
}

// settle draws the friction of the next pull. It is called before the bolt moves.
func (b *Bolt) settle(source *rand.Rand) {
	if b.spec.Wander > 0 {
		b.rate = b.own * math.Max(0.2, 1+b.spec.Wander*normal(source))
	}
}

// Standing is the torque in N·m that the bolt stands at.
func (b *Bolt) Standing() float64 { return b.standing }

// Rate is this bolt's own torque rate in N·m per degree, friction included.
func (b *Bolt) Rate() float64 { return b.rate }

// Own is this bolt's own torque rate in N·m per degree, about which it wanders from pull to pull.
func (b *Bolt) Own() float64 { return b.own }

// After is the torque in N·m that the bolt stands at after a turn in degrees, as far as its own friction foretells it.
func (b *Bolt) After(turn float64) float64 {
	up := b.standing + turn*b.own
	if up <= b.yield {
		return up
	}
	from := math.Max(b.standing, b.yield)
	return from + (up-from)*b.spec.YieldRatio
}

// breakaway is the torque in N·m at which the bolt begins to move again.
func (b *Bolt) breakaway() float64 { return b.standing * (1 + b.spec.Stiction) }

// turnTo is the turn in degrees from where the bolt stands until it stands at the torque; 0 where it stands higher.
func (b *Bolt) turnTo(torque float64) float64 {
	if torque <= b.standing {
		return 0
	}
	elastic := math.Max(0, math.Min(torque, b.yield)-b.standing)
	plastic := math.Max(0, torque-math.Max(b.yield, b.standing))
	if plastic == 0 {
		return elastic / b.rate
	}
	return elastic/b.rate + plastic/(b.rate*b.spec.YieldRatio)
}

// stand leaves the bolt at the torque.
func (b *Bolt) stand(torque float64) {
	b.standing = torque
	if torque > b.yield {
		b.yield = torque
	}
}

// normal is a standard normal deviate cut at ±3: a hand does not do worse than that.
func normal(source *rand.Rand) float64 {
	return math.Max(-3, math.Min(3, source.NormFloat64()))
}
