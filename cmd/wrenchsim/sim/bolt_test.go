package sim

import (
	"math"
	"math/rand/v2"
	"testing"
)

// steady is a hand without scatter, exact a gauge that neither bends nor waits.
var (
	steady = Hand{}
	exact  = Gauge{}
	gauge  = Gauge{Threshold: 5, WindUp: 0.04}
)

func source(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 1)) }

func plain() BoltSpec {
	return BoltSpec{Rate: 1.5, Yield: 100, YieldRatio: 0.2, Stiction: 0.04, OffRatio: 0.85}
}

func near1(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if math.Abs(got-want) > within {
		t.Errorf("%s: got %.4f, want %.4f ± %g", what, got, want, within)
	}
}

func TestBolt_FreshAndReHit(t *testing.T) {
	b := NewBolt(plain(), source(1))
	b.TightenTo(30, gauge, steady, source(1))
	fresh := b.TightenTo(60, gauge, steady, source(1))
	t.Run("a fresh bolt turns by the torque over the rate, plus the wind-up", func(t *testing.T) {
		near1(t, "angle", fresh.Angle, (60-30)/1.5+(60-5)*0.04, 1e-9)
		near1(t, "turned", fresh.Turned, 20, 1e-9)
	})
	again := b.TightenTo(60, gauge, steady, source(1))
	t.Run("a bolt at its torque shows the wind-up only, and a little more torque", func(t *testing.T) {
		near1(t, "turned", again.Turned, 0, 0)
		near1(t, "torque", again.Torque, 62.4, 1e-9)
		near1(t, "angle", again.Angle, (62.4-5)*0.04, 1e-9)
		near1(t, "standing", b.Standing(), 60, 1e-9)
	})
	low := b.TightenTo(30, gauge, steady, source(1))
	t.Run("an earlier stage on a bolt that stands higher moves nothing", func(t *testing.T) {
		near1(t, "torque", low.Torque, 30, 1e-9)
		near1(t, "turned", low.Turned, 0, 0)
		near1(t, "standing", b.Standing(), 60, 1e-9)
	})
}

func TestBolt_RateByRegression(t *testing.T) {
	b := NewBolt(plain(), source(1))
	var n, sx, sy, sxx, sxy, x float64
	for torque := 10.0; torque <= 90; torque += 10 {
		x += b.StopAt(torque, exact).Angle
		n, sx, sy, sxx, sxy = n+1, sx+x, sy+torque, sxx+x*x, sxy+x*torque
	}
	near1(t, "slope in N·m per degree", (n*sxy-sx*sy)/(n*sxx-sx*sx), 1.5, 1e-9)
}

func TestBolt_Yield(t *testing.T) {
	b := NewBolt(plain(), source(1))
	b.StopAt(90, exact)
	p := b.TurnBy(40, exact, steady, source(1))
	t.Run("past yield the rate drops", func(t *testing.T) {
		near1(t, "torque", p.Torque, 100+(40-10/1.5)*1.5*0.2, 1e-6)
	})
	b.Loosen(20, steady, source(1))
	t.Run("a stretched bolt is elastic again up to where it was stretched to", func(t *testing.T) {
		near1(t, "standing", b.Standing(), p.Torque-30, 1e-6)
		near1(t, "turn back to it", b.StopAt(p.Torque, exact).Turned, 20, 1e-6)
	})
}

func TestBolt_TurnBy(t *testing.T) {
	b := NewBolt(plain(), source(1))
	b.StopAt(30, exact)
	p := b.TurnBy(30, gauge, steady, source(1))
	t.Run("the wrench shows the angle asked for, the bolt turns less by the wind-up", func(t *testing.T) {
		near1(t, "angle", p.Angle, 30, 1e-9)
		near1(t, "turned and wind-up", p.Turned+(p.Torque-gauge.Threshold)*gauge.WindUp, 30, 1e-6)
		near1(t, "torque of that turn", p.Torque, 30+p.Turned*1.5, 1e-6)
	})
	q := b.TurnBy(1, gauge, steady, source(1))
	t.Run("an angle within the wind-up moves nothing", func(t *testing.T) {
		near1(t, "turned", q.Turned, 0, 0)
		near1(t, "standing", b.Standing(), p.Torque, 1e-9)
		near1(t, "torque", q.Torque, 5+1/0.04, 1e-6)
	})
}

func TestBolt_Loosen(t *testing.T) {
	b := NewBolt(plain(), source(1))
	b.StopAt(60, exact)
	p := b.Loosen(90, steady, source(1))
	t.Run("it breaks loose below the torque it stood at", func(t *testing.T) { near1(t, "torque", p.Torque, 51, 1e-9) })
	t.Run("it stands at nothing after a long way back", func(t *testing.T) { near1(t, "standing", b.Standing(), 0, 0) })
	t.Run("it says that it loosened", func(t *testing.T) {
		if !p.Loosens {
			t.Error("got a pull that tightens, want one that loosens")
		}
	})
}

func TestBolt_Scatter(t *testing.T) {
	spec := plain()
	spec.Scatter = 0.08
	s := source(7)
	var sum, square float64
	const bolts = 4000
	for range bolts {
		r := NewBolt(spec, s).Rate()
		sum, square = sum+r, square+r*r
	}
	mean := sum / bolts
	near1(t, "mean rate", mean, 1.5, 0.01)
	near1(t, "relative deviation", math.Sqrt(square/bolts-mean*mean)/mean, 0.08, 0.005)
	t.Run("the same seed gives the same bolt", func(t *testing.T) {
		near1(t, "rate", NewBolt(spec, source(3)).Rate(), NewBolt(spec, source(3)).Rate(), 0)
	})
}

// A residual torque is found a little above what a bolt stands at: where it breaks away, or where it stands after moving on.
func TestBolt_MoveOn(t *testing.T) {
	s := source(1)
	b := NewBolt(BoltSpec{Rate: 2, Stiction: 0.04}, s)
	g := Gauge{Threshold: 5, WindUp: 0.05}
	b.StopAt(50, g)
	if p := b.MoveOn(0.5, g, s); p.Torque != 52 || p.Angle != 0.5+47*0.05 || b.Standing() != 51 {
		t.Errorf("got %+v and %v N·m after it, want 52 where it breaks away, wind-up shown, and 51 after it", p, b.Standing())
	}
	if p := b.MoveOn(3, g, s); p.Torque != 57 || b.Standing() != 57 {
		t.Errorf("got %+v, want the torque after moving on", p)
	}
}

func TestBolt_After(t *testing.T) {
	b := NewBolt(BoltSpec{Rate: 2, Yield: 100, YieldRatio: 0.1}, source(1))
	b.StopAt(80, Gauge{})
	for turn, want := range map[float64]float64{5: 90, 10: 100, 20: 102} {
		if got := b.After(turn); got != want {
			t.Errorf("got %v N·m after %v°, want %v", got, turn, want)
		}
	}
	b.StopAt(110, Gauge{})
	if got := b.After(10); got != 112 {
		t.Errorf("got %v N·m, want it to yield from where it stands", got)
	}
}
