package sim

import (
	"fmt"
	"math/rand/v2"

	"witnessmark/device"
)

// Hit says what a pull was to its fastener.
type Hit string

// The hits. A low one let go early; a re-hit met a fastener that had its stage already.
const (
	Fresh    Hit = "fresh"
	ReHit    Hit = "re-hit"
	Low      Hit = "low"
	Loosened Hit = "loosened"
	Nowhere  Hit = "stray"
)

// Truth is what a pull really was: the label to hold a finding against.
type Truth struct {
	No       int            `json:"no"` // 1, 2, 3 … over the pulls of a floor
	Wrench   string         `json:"wrench"`
	Joint    string         `json:"joint"`
	Stage    string         `json:"stage"`
	Fastener string         `json:"fastener"` // empty: none, a stray pull
	Hit      Hit            `json:"hit"`
	Turned   float64        `json:"turned"`   // degrees by which the bolt itself turned
	Standing float64        `json:"standing"` // N·m that it stands at afterwards
	Reading  device.Reading `json:"reading"`
}

// place is where a bolt sits.
type place struct{ joint, fastener string }

// Floor is the bolts of a script and the hand that pulls them, without any wire: it turns steps into pulls. The same
// seed and the same steps give the same pulls. It is for one goroutine.
type Floor struct {
	source *rand.Rand
	hand   Hand
	bolts  map[place]*Bolt
	done   map[[3]string]bool // joint, stage, fastener
	pulls  int
}

// NewFloor puts every bolt of the groups in its hole.
func NewFloor(seed uint64, hand Hand, groups []Group) *Floor {
	f := &Floor{source: rand.New(rand.NewPCG(seed, 0x5eed)), hand: hand, bolts: map[place]*Bolt{}, done: map[[3]string]bool{}}
	for _, g := range groups {
		for _, id := range g.Fasteners {
			f.bolts[place{g.Joint, id}] = NewBolt(g.Spec, f.source)
		}
	}
	return f
}

// Pull does one step that pulls, with the gauge in hand. The truth it gives lacks the reading. An error names a
// fastener without a bolt, or a step that is no pull.
func (f *Floor) Pull(s Step, g Gauge) (Pull, Truth, error) {
	if !s.Pulls() {
		return Pull{}, Truth{}, fmt.Errorf("pull: a step that says %s is no pull", s.Act)
	}
	truth := Truth{Wrench: s.Wrench, Joint: s.Joint, Stage: s.Stage, Fastener: s.Fastener}
	if s.Act == Stray {
		f.pulls++
		truth = Truth{No: f.pulls, Wrench: s.Wrench, Hit: Nowhere}
		return f.stray(s, g), truth, nil
	}
	b := f.bolts[place{s.Joint, s.Fastener}]
	if b == nil {
		return Pull{}, Truth{}, fmt.Errorf("pull fastener %q of joint %q: no bolt is said to be there", s.Fastener, s.Joint)
	}
	f.pulls++
	truth.No = f.pulls
	p := f.pull(b, s, g)
	truth.Hit = f.hit(s)
	truth.Turned, truth.Standing = p.Turned, b.Standing()
	return p, truth, nil
}

func (f *Floor) pull(b *Bolt, s Step, g Gauge) Pull {
	switch {
	case s.Act == LoosenBy:
		return b.Loosen(s.Angle, f.hand, f.source)
	case s.Act == TurnBy:
		return b.TurnBy(s.Angle, g, f.hand, f.source)
	case s.Low > 0:
		return b.StopAt(s.Low, g)
	}
	return b.TightenTo(s.Torque, g, f.hand, f.source)
}

// stray is a pull at something stiff: a vice, a tester. Only the wind-up shows unless the step names an angle.
func (f *Floor) stray(s Step, g Gauge) Pull {
	angle := max(0, s.Torque-g.Threshold)*g.WindUp + s.Angle
	return Pull{Torque: s.Torque, Angle: angle}
}

// hit says what the pull was and remembers that the fastener had its stage.
func (f *Floor) hit(s Step) Hit {
	switch {
	case s.Act == LoosenBy:
		return Loosened
	case s.Low > 0:
		return Low
	}
	step := [3]string{s.Joint, s.Stage, s.Fastener}
	if f.done[step] {
		return ReHit
	}
	f.done[step] = true
	return Fresh
}
