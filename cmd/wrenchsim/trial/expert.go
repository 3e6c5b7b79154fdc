package trial

import (
	"math"
	"slices"
	"strconv"

	"witnessmark/audit/procedure"
	"witnessmark/cmd/wrenchsim/sim"
)

// made is what a run was made from, without the draws of the single bolts and pulls.
type made struct {
	gauges []sim.Gauge
	spec   sim.BoltSpec
	wander float64
	odd    float64
	grain  string // of the angles
}

// made is nil where the expert cannot judge: where more happens to a bolt than that it is pulled from stage to stage.
func (t *technician) made() *made {
	w := &t.world
	if w.Yield.High > 0 || w.Renewals > 0 || w.Rounds > 0 || w.Adapters || w.Missing.High > 0 || t.angle == "" {
		return nil
	}
	for i := range t.joint.Stages {
		if a := t.joint.Stages[i].Action; a != procedure.TightenTo && a != procedure.TurnBy {
			return nil
		}
	}
	return &made{t.gauges, t.spec, t.wander, w.Odd, t.angle}
}

// sighted is a pull as the wrench showed it. N·m and degrees.
type sighted struct {
	stage         int
	torque, angle float64
}

// ratio is the logarithm of the likelihood of a run's readings with one turned twice, over that with all in order; both have
// as many pulls in the same order. -∞ where no stage turns.
func (r *Run) ratio() float64 {
	e := r.expert()
	pulls := make([][]sighted, len(r.Joint.Fasteners))
	for i, s := range r.Joint.Sequence() {
		rd := &r.Readings[i]
		pulls[s.Fastener] = append(pulls[s.Fastener], sighted{s.Stage, float64(rd.Torque) / 1e6, float64(*rd.Angle) / 1e3})
	}
	inOrder := make([]float64, len(pulls))
	for f := range pulls {
		inOrder[f] = e.weigh(pulls[f])
	}
	var all []float64
	for st := range r.Joint.Stages {
		if r.Joint.Stages[st].Action != procedure.TurnBy {
			continue
		}
		for f := 1; f < len(pulls)-1; f++ { // as a technician's slip is drawn: see leg
			again := slices.Insert(slices.Clone(pulls[f]), st+1, pulls[f+1][st])
			missed := slices.Delete(slices.Clone(pulls[f+1]), st, st+1)
			all = append(all, e.weigh(again)+e.weigh(missed)-inOrder[f]-inOrder[f+1])
		}
	}
	return sumOf(all) - math.Log(float64(max(len(all), 1)))
}

// sumOf is the logarithm of the sum of numbers given as logarithms.
func sumOf(logs []float64) float64 {
	if len(logs) == 0 {
		return math.Inf(-1)
	}
	top, sum := slices.Max(logs), 0.0
	for _, x := range logs {
		sum += math.Exp(x - top)
	}
	return top + math.Log(sum)
}

// expert knows what a run was made from.
type expert struct {
	run    *Run
	grain  float64   // degrees
	rates  []float64 // of a bolt, N·m per degree: a grid, even in their logarithms
	priors []float64 // logarithm of their shares
}

func (r *Run) expert() *expert {
	const points, low, high = 160, 0.12, 4 // of the common rate
	e := &expert{run: r, rates: make([]float64, points), priors: make([]float64, points)}
	var err error
	if e.grain, err = strconv.ParseFloat(r.made.grain, 64); err != nil {
		panic(err) // the worlds are ours
	}
	spec := r.made.spec
	near := func(rate, middle float64) float64 {
		d := (rate/middle - 1) / spec.Scatter
		return math.Exp(-d*d/2) / (spec.Scatter * middle)
	}
	for i := range e.rates {
		rate := spec.Rate * low * math.Pow(high/low, (float64(i)+0.5)/points)
		p := (1 - r.made.odd) * near(rate, spec.Rate)
		for k := range 20 { // the odd ones: see World.Odd
			p += r.made.odd / 20 * near(rate, spec.Rate*0.5*(1+3*(float64(k)+0.5)/20))
		}
		e.rates[i], e.priors[i] = rate, math.Log(p*rate+math.SmallestNonzeroFloat64)
	}
	return e
}

// weigh is the logarithm of the likelihood of all pulls on one fastener, whatever its own rate is.
func (e *expert) weigh(pulls []sighted) float64 {
	all := slices.Clone(e.priors)
	for i, rate := range e.rates {
		standing := 0.0
		for k := range pulls {
			all[i] += math.Log(e.likely(rate, standing, &pulls[k]) + 1e-12)
			standing = max(standing, pulls[k].torque)
		}
	}
	return sumOf(all)
}

// likely is the likelihood of a pull on a bolt of a rate: of the angle where it was taken to a torque, of the torque where it
// was taken to an angle. What the hand does is the same either way, and left out.
func (e *expert) likely(rate, standing float64, p *sighted) float64 {
	g := e.run.made.gauges[p.stage%len(e.run.made.gauges)]
	rise := p.torque - max(standing, g.Threshold)
	turned, half := p.angle-(p.torque-g.Threshold)*g.WindUp, e.grain/2
	if rise <= 0 || turned+half <= 0 {
		return 0
	}
	scatter := rate * e.run.made.wander
	if e.run.Joint.Stages[p.stage].Action == procedure.TightenTo {
		return below((rise/max(turned-half, 1e-3)-rate)/scatter) - below((rise/(turned+half)-rate)/scatter)
	}
	sum := 0.0
	for _, part := range []float64{-2.0 / 3, 0, 2.0 / 3} { // anywhere in the grain
		a := max(turned+part*half, 1)
		d := (rise/a - rate) / scatter
		sum += math.Exp(-d*d/2) / scatter * (1/a + rise*g.WindUp/(a*a))
	}
	return sum / 3 / math.Sqrt(2*math.Pi)
}

// below is the share of a standard normal deviate that lies below x.
func below(x float64) float64 { return math.Erfc(-x/math.Sqrt2) / 2 }
