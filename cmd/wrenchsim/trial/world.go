package trial

import (
	"fmt"
	"math/rand/v2"
	"strings"

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
}

// Ordinary is a shop as most are: a wrench to 0.1 N·m and a whole degree.
func Ordinary() World {
	return World{Name: "ordinary", Fasteners: [2]int{4, 20}, Torque: Span{15, 60}, Turn: Span{18, 45}, Friction: Span{0.05, 0.12},
		Wander: Span{0.03, 0.08},
		Odd:    0.05, WindUp: Span{0.5, 2.5}, Threshold: Span{0.05, 0.25}, Scatter: Span{0.006, 0.015}, Hand: Span{0.7, 1.5},
		Stiction: Span{0.01, 0.06}, Torques: []string{"0.1"}, Angles: []string{"1"}}
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
		change("no angle at all", func(w *World) { w.Angles = []string{""} }),
		change("all at once", func(w *World) {
			w.Turn, w.WindUp, w.Friction, w.Threshold = Span{8, 120}, Span{0.2, 5}, Span{0.03, 0.2}, Span{0.02, 0.5}
			w.Wander = Span{0.02, 0.12}
			w.Scatter, w.Hand, w.Missing = Span{0.003, 0.025}, Span{0.5, 2.5}, Span{0, 0.15}
			w.Torques, w.Angles = []string{"0.1", "0.5"}, []string{"0.1", "1", "2"}
		}),
	}
}

// plans are the stages of a joint by their targets: a factor of the first torque, or a turn in degrees.
var plans = [][]string{
	{"1x"}, {"1x", "2x"}, {"1x", "2x", "3x"}, {"1x", "2x", "+90"}, {"1x", "+90"}, {"1x", "1.6x", "+60", "+60"}, {"1x", "2.5x", "+90", "+90"},
}

// joint draws a joint and its procedure. The file goes through the ordinary reader, as in a shop.
func (w World) joint(source *rand.Rand) (*procedure.Procedure, *procedure.Joint) {
	n := w.Fasteners[0] + source.IntN(w.Fasteners[1]-w.Fasteners[0]+1)
	first := w.Torque.draw(source)
	var b strings.Builder
	fmt.Fprintf(&b, "format: witnessmark/procedure/1\nfamily: TRIAL\nrevision: \"1\"\ntitle: Drawn\nsource: drawn\ndecision: simple\njoints:\n"+
		"  - id: j\n    title: Drawn\n    criticality: B\n    round: stage\n    order: listed\n    fasteners:\n")
	for i := range n {
		fmt.Fprintf(&b, "      - {id: \"%d\", at: [%d, %d]}\n", i+1, i%2*80, i/2*60)
	}
	b.WriteString("    stages:\n")
	plan := plans[source.IntN(len(plans))]
	if w.Angles[0] == "" { // who measures no angle has no use for a turn
		plan = plans[source.IntN(torquesOnly)]
	}
	for i, target := range plan {
		var x float64
		if _, err := fmt.Sscanf(target, "+%f", &x); err == nil {
			fmt.Fprintf(&b, "      - {id: s%d, turn_by: %.0f°, accept: ±6°}\n", i+1, x)
			continue
		}
		if _, err := fmt.Sscanf(target, "%fx", &x); err != nil {
			panic(err) // the plans are above
		}
		fmt.Fprintf(&b, "      - {id: s%d, tighten_to: %.1f N·m, accept: ±10 %%}\n", i+1, first*x)
	}
	p, err := procedure.Parse("drawn", []byte(b.String()))
	if err != nil {
		panic(err) // the text is made here
	}
	return p, &p.Joints[0]
}

// torquesOnly is how many of the plans, the first ones, do without a turn.
const torquesOnly = 3

// gauge and bolts of a run, drawn for the first target.
func (w World) draw(j *procedure.Joint, source *rand.Rand) (sim.Gauge, sim.Hand, []*sim.Bolt, float64) {
	first := float64(j.Stages[0].Torque) / 1e6
	g := sim.Gauge{Threshold: first * w.Threshold.draw(source), WindUp: w.WindUp.draw(source) / first}
	h := sim.Hand{Overshoot: 0.005, Scatter: w.Scatter.draw(source), Angle: w.Hand.draw(source)}
	spec := sim.CommonBolt()
	spec.Rate, spec.Scatter, spec.Stiction = first/w.Turn.draw(source), w.Friction.draw(source), w.Stiction.draw(source)
	wander := w.Wander.draw(source)
	bolts := make([]*sim.Bolt, len(j.Fasteners))
	for i := range bolts {
		s := spec
		if source.Float64() < w.Odd {
			s.Rate *= 0.5 * (1 + 3*source.Float64())
		}
		s.Wander = wander
		bolts[i] = sim.NewBolt(s, source)
	}
	return g, h, bolts, wander
}
