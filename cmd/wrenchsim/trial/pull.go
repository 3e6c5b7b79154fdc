package trial

import (
	"math"
	"strconv"

	"witnessmark/audit/procedure"
	"witnessmark/cmd/wrenchsim/sim"
	"witnessmark/device"
	"witnessmark/device/unit"
)

// wrench is the one that a stage is done with: they take turns.
func (t *technician) wrench(stage int) int { return stage % len(t.gauges) }

func (t *technician) pull(p pull) {
	if p.renew {
		t.renew(t.steps[p.step].Fastener)
		return
	}
	l := Label{Step: p.step, Slip: p.slip, Shadow: p.shadow, Watched: t.watching && !p.back}
	var came sim.Pull
	wrench, factor := 0, t.reach.at(-1)
	if p.step >= 0 {
		stage := t.steps[p.step].Stage
		wrench, factor = t.wrench(stage), t.reach.at(stage)
	}
	g := through(t.gauges[wrench], factor)
	switch {
	case p.step < 0:
		torque := float64(t.joint.Stages[0].Torque) / 1e6 * (0.5 + 3*t.source.Float64())
		t.knowable = t.strange(torque) && t.strange(torque/factor)
		came = sim.Pull{Torque: torque, Angle: max(0, torque-g.Threshold) * g.WindUp}
	case p.back:
		came = t.bolts[t.steps[p.step].Fastener].Loosen(20+60*t.source.Float64(), t.hand, t.source)
		t.turnedBack(p.step)
	default:
		l.Again = t.done[p.step]
		came = t.tighten(p, g)
	}
	came.Torque /= factor
	r := t.read(came, wrench)
	if p.step >= 0 && !p.back {
		l.Good = t.good(p.step, r, factor)
	}
	t.readings = append(t.readings, r)
	t.labels = append(t.labels, l)
}

func (t *technician) tighten(p pull, g sim.Gauge) sim.Pull {
	st := &t.steps[p.step]
	b := t.bolts[st.Fastener]
	target := float64(st.Torque) / 1e6
	if p.slip && t.done[p.step] && st.Action != procedure.Verify {
		t.knowable = t.trace(p.step, g)
	}
	t.done[p.step] = p.share == 1
	switch {
	case st.Action == procedure.Verify:
		return b.MoveOn(0.5+1.5*t.source.Float64(), g, t.source)
	case st.Action == procedure.TurnBy:
		return b.TurnBy(float64(st.Angle)/1e3*p.share, g, t.hand, t.source)
	case st.Action == procedure.LoosenBy:
		return b.Loosen(float64(st.Angle)/1e3*p.share, t.hand, t.source)
	case p.share != 1:
		return b.StopAt(target*p.share, g)
	}
	return b.TightenTo(target, g, t.hand, t.source)
}

// trace is true where a second pull at a step differs from the pull that the next fastener would have got: in the turn
// where that one would have turned by clearly more than the wrench resolves and the hand scatters, in the torque where
// both are turned by an angle.
func (t *technician) trace(step int, g sim.Gauge) bool {
	if t.angle == "" || t.missing > 0 {
		return false
	}
	st, next := &t.steps[step], t.bolts[t.steps[t.due()].Fastener]
	if st.Action == procedure.TurnBy {
		return t.slip != TurnTwice || t.higher(float64(st.Angle)/1e3, t.bolts[st.Fastener], next)
	}
	res, err := strconv.ParseFloat(t.angle, 64)
	if err != nil {
		panic(err) // the worlds are ours
	}
	turn := (float64(st.Torque)/1e6 - max(g.Threshold, next.Standing())) / next.Own()
	return turn > 4*max(res, 1)
}

// higher is true where a fastener that is turned a second time ends clearly elsewhere than the one that is left out for it
// would have: by more than friction wanders from pull to pull, which nobody could tell from a slip.
func (t *technician) higher(turn float64, again, missed *sim.Bolt) bool {
	return math.Abs(again.After(turn)-missed.After(turn)) > 4*t.wander*turn*missed.Own()
}

// strange is true of a torque that no stage of the joint tightens to.
func (t *technician) strange(torque float64) bool {
	for _, s := range t.joint.Stages {
		if x := torque * 1e6 / float64(s.Torque); s.Action != procedure.TightenTo || x > 0.85 && x < 1.15 {
			return false
		}
	}
	return true
}

func (t *technician) turnedBack(step int) {
	f := t.steps[step].Fastener
	for i := range t.steps {
		if t.steps[i].Fastener == f {
			t.done[i] = false
		}
	}
	t.turned[f] = turned{stage: -1}
}

func (t *technician) read(p sim.Pull, wrench int) device.Reading {
	r := device.Reading{Wrench: "W" + strconv.Itoa(wrench+1), Unit: unit.Nm, Direction: device.Tighten}
	if p.Loosens {
		r.Direction = device.Loosen
	}
	r.TorqueText = steps(p.Torque, t.torque)
	var err error
	if r.Torque, err = unit.TorqueIn(r.TorqueText, r.Unit); err != nil {
		panic(err) // made by steps
	}
	if t.angle == "" || t.source.Float64() < t.missing {
		return r
	}
	a, err := unit.AngleOf(steps(p.Angle, t.angle))
	if err != nil {
		panic(err)
	}
	r.Angle = &a
	return r
}
