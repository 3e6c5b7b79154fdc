package trial

import (
	"math/rand/v2"
	"slices"

	"witnessmark/audit/procedure"
	"witnessmark/cmd/wrenchsim/sim"
)

// Span is a range that a run draws from.
type Span struct{ Low, High float64 }

func (s Span) draw(source *rand.Rand) float64 { return s.Low + (s.High-s.Low)*source.Float64() }

// World is what the bolts, the wrench and the hand of a run are drawn from. Torques in N·m, angles in degrees.
type World struct {
	Name      string
	Fasteners [2]int  // so many, ends included
	Torque    Span    // target of the first stage
	Turn      Span    // degrees that a bolt turns from slack to that target: what sets the torque rate
	Friction  Span    // relative scatter of the torque rate from bolt to bolt
	Wander    Span    // … of one bolt from pull to pull
	Odd       float64 // share of bolts with odd friction, by a factor of 0.5 … 2
	WindUp    Span    // degrees of wind-up of wrench and socket at the first target
	Threshold Span    // share of the first target from which the wrench counts angle
	Scatter   Span    // relative scatter of the hand about a torque
	Hand      Span    // scatter of the hand about an angle, degrees
	Stiction  Span
	Torques   []string // resolutions of torque to draw from
	Angles    []string // resolutions of angle to draw from; empty text: the wrench sends none
	Missing   Span     // share of readings whose angle is missing
	Plans     []plan   // of the joint's stages to draw from
	Rounds    float64  // share of joints in which a fastener goes through all stages before the next one
	Wrenches  int      // wrenches on the bench, each with a threshold and wind-up of its own; they take turns by stage
	Yield     Span     // share of all turns of the joint at which its bolts yield; none: never
	Renewals  float64  // share of joints in which a bolt is renewed, see renewal
	Adapters  bool     // one stage is pulled through an adapter, or all of them, see reach
}

// Ordinary is a shop as most are: a wrench to 0.1 N·m and a whole degree.
func Ordinary() World {
	return World{Name: "ordinary", Fasteners: [2]int{4, 20}, Torque: Span{15, 60}, Turn: Span{18, 45}, Friction: Span{0.05, 0.12},
		Wander: Span{0.03, 0.08},
		Odd:    0.05, WindUp: Span{0.5, 2.5}, Threshold: Span{0.05, 0.25}, Scatter: Span{0.006, 0.015}, Hand: Span{0.7, 1.5},
		Stiction: Span{0.01, 0.06}, Torques: []string{"0.1"}, Angles: []string{"1"}, Plans: plans, Wrenches: 1}
}

// Corners are worlds far from the ordinary one, each in one way, and the last in all.
func Corners() []World {
	change := func(name string, f func(*World)) World {
		w := Ordinary()
		w.Name = name
		f(&w)
		return w
	}
	return []World{
		Ordinary(),
		change("stiff joint", func(w *World) { w.Turn = Span{6, 15} }),
		change("soft joint", func(w *World) { w.Turn = Span{45, 150} }),
		change("much wind-up", func(w *World) { w.WindUp = Span{3, 7} }),
		change("uneven friction", func(w *World) { w.Friction, w.Wander = Span{0.15, 0.25}, Span{0.1, 0.2} }),
		change("high threshold", func(w *World) { w.Threshold = Span{0.3, 0.6} }),
		change("rough hand", func(w *World) { w.Scatter, w.Hand = Span{0.02, 0.03}, Span{2, 3} }),
		change("coarse wrench", func(w *World) { w.Torques, w.Angles = []string{"1", "0.5"}, []string{"5", "2"} }),
		change("angles missing", func(w *World) { w.Missing = Span{0.05, 0.3} }),
		change("no angle at all", func(w *World) { w.Angles, w.Plans = []string{""}, plans[:torquesOnly] }),
		change("two wrenches", func(w *World) { w.Wrenches = 2 }),
		change("rare procedures", func(w *World) { w.Plans, w.Rounds = rarePlans, 0.2 }),
		change("renewals", func(w *World) {
			w.Plans, w.Yield, w.Renewals = plans[torquesOnly:], Span{0.6, 1.6}, 0.9
		}),
		change("verification", func(w *World) { w.Plans = verifiedPlans }),
		change("adapters", func(w *World) { w.Plans, w.Adapters = plans[1:], true }),
		change("all at once", func(w *World) {
			w.Turn, w.WindUp, w.Friction, w.Threshold = Span{8, 120}, Span{0.2, 5}, Span{0.03, 0.2}, Span{0.02, 0.5}
			w.Wander = Span{0.02, 0.12}
			w.Scatter, w.Hand, w.Missing = Span{0.003, 0.025}, Span{0.5, 2.5}, Span{0, 0.15}
			w.Torques, w.Angles = []string{"0.1", "0.5"}, []string{"0.1", "1", "2"}
			w.Plans, w.Rounds, w.Wrenches = append(slices.Clone(plans), rarePlans...), 0.1, 2
		}),
	}
}

// outfit is what a run is worked with.
type outfit struct {
	gauges []sim.Gauge // by wrench
	hand   sim.Hand
	bolts  []*sim.Bolt
	spec   sim.BoltSpec
	wander float64 // of the friction of a bolt from pull to pull
	box    func() *sim.Bolt
}

// draw gives the gauges, the hand and the bolts of a run for the first target, and the box that a new bolt comes from.
func (w World) draw(j *procedure.Joint, source *rand.Rand) outfit {
	first := float64(j.Stages[0].Torque) / 1e6
	o := outfit{gauges: make([]sim.Gauge, w.Wrenches)}
	for i := range o.gauges {
		o.gauges[i] = sim.Gauge{Threshold: first * w.Threshold.draw(source), WindUp: w.WindUp.draw(source) / first}
	}
	o.hand = sim.Hand{Overshoot: 0.005, Scatter: w.Scatter.draw(source), Angle: w.Hand.draw(source)}
	spec := sim.CommonBolt()
	spec.Rate, spec.Scatter, spec.Stiction = first/w.Turn.draw(source), w.Friction.draw(source), w.Stiction.draw(source)
	o.wander = w.Wander.draw(source)
	if w.Yield.High > 0 {
		spec.Yield = yields(j, spec.Rate, w.Yield.draw(source))
	}
	o.spec = spec
	o.box = func() *sim.Bolt {
		s := spec
		if source.Float64() < w.Odd {
			s.Rate *= 0.5 * (1 + 3*source.Float64())
		}
		s.Wander = o.wander
		return sim.NewBolt(s, source)
	}
	o.bolts = make([]*sim.Bolt, len(j.Fasteners))
	for i := range o.bolts {
		o.bolts[i] = o.box()
	}
	return o
}

// yields is the torque in N·m that a common bolt has reached at a share of all its turns.
func yields(j *procedure.Joint, rate, share float64) float64 {
	var torque, turns float64
	for _, s := range j.Stages {
		torque, turns = max(torque, float64(s.Torque)/1e6), turns+float64(s.Angle)/1e3
	}
	return torque + share*turns*rate
}
