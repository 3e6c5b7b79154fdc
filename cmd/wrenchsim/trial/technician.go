package trial

import (
	"math"
	"math/rand/v2"
	"slices"
	"strconv"

	"witnessmark/audit/procedure"
	"witnessmark/cmd/wrenchsim/sim"
	"witnessmark/device"
	"witnessmark/device/unit"
)

// technician goes through a joint, blind to what the bench would say.
type technician struct {
	world  World
	source *rand.Rand
	joint  *procedure.Joint
	steps  []procedure.Step
	slip   Slip

	gauge    sim.Gauge
	hand     sim.Hand
	bolts    []*sim.Bolt
	torque   string // resolution
	angle    string
	missing  float64
	wander   float64 // of the friction of a bolt from pull to pull
	done     []bool
	readings []device.Reading
	labels   []Label
	knowable bool
}

func (t *technician) begin() {
	t.gauge, t.hand, t.bolts, t.wander = t.world.draw(t.joint, t.source)
	t.torque = t.world.Torques[t.source.IntN(len(t.world.Torques))]
	t.angle = t.world.Angles[t.source.IntN(len(t.world.Angles))]
	t.missing = t.world.Missing.draw(t.source)
	t.done = make([]bool, len(t.steps))
	t.knowable = true
}

// work does every stage, the slip in one that has room for it.
func (t *technician) work() {
	at := t.room(t.slip)
	second := -1
	kinds := []Slip{t.slip, Clean}
	if t.slip == Several {
		kinds = []Slip{Slips()[1+t.source.IntN(12)], Slips()[1+t.source.IntN(12)]}
		at, second = t.room(kinds[0]), t.room(kinds[1])
		if at == second {
			second = -1
		}
	}
	if at < 0 {
		t.slip = Clean
	}
	for s := range t.joint.Stages {
		kind := Clean
		switch s {
		case at:
			kind = kinds[0]
		case second:
			kind = kinds[1]
		}
		t.stage(s, kind)
	}
}

// room draws a stage that the slip can happen in, -1: none.
func (t *technician) room(s Slip) int {
	if s == Clean {
		return -1
	}
	var fit []int
	for i, st := range t.joint.Stages {
		turns := st.Action == procedure.TurnBy
		switch s {
		case TurnTwice:
			if turns {
				fit = append(fit, i)
			}
		case MissLast: // what comes after shows it
			if i+1 < len(t.joint.Stages) {
				fit = append(fit, i)
			}
		case AgainMiss, AgainExtra, AgainOld, LowNoticed, LowUnseen, TooHigh:
			if !turns {
				fit = append(fit, i)
			}
		default:
			fit = append(fit, i)
		}
	}
	if len(fit) == 0 {
		return -1
	}
	return fit[t.source.IntN(len(fit))]
}

func (t *technician) stage(stage int, s Slip) {
	var steps []int
	for i, st := range t.steps {
		if st.Stage == stage {
			steps = append(steps, i)
		}
	}
	if len(steps) < 3 {
		panic("trial: a stage of less than three fasteners has no room for a slip")
	}
	k := 1 + t.source.IntN(len(steps)-2) // one before it, one after it
	if s == MissLast {
		k = len(steps) - 1
	}
	for _, p := range walk(s, steps, k, t.source.IntN(k)) {
		t.pull(p)
	}
}

func (t *technician) pull(p pull) {
	l := Label{Step: p.step, Slip: p.slip, Shadow: p.shadow}
	var came sim.Pull
	switch {
	case p.step < 0:
		torque := float64(t.joint.Stages[0].Torque) / 1e6 * (0.5 + 3*t.source.Float64())
		t.knowable = t.strange(torque)
		came = sim.Pull{Torque: torque, Angle: max(0, torque-t.gauge.Threshold) * t.gauge.WindUp}
	case p.back:
		came = t.bolts[t.steps[p.step].Fastener].Loosen(20+60*t.source.Float64(), t.hand, t.source)
		t.turnedBack(p.step)
	default:
		l.Again = t.done[p.step]
		came = t.tighten(p)
	}
	t.readings = append(t.readings, t.read(came))
	t.labels = append(t.labels, l)
}

func (t *technician) tighten(p pull) sim.Pull {
	st := &t.steps[p.step]
	b := t.bolts[st.Fastener]
	target := float64(st.Torque) / 1e6
	if p.slip && t.done[p.step] {
		t.knowable = t.trace(st)
	}
	t.done[p.step] = p.share == 1
	switch {
	case st.Action == procedure.TurnBy:
		return b.TurnBy(float64(st.Angle)/1e3*p.share, t.gauge, t.hand, t.source)
	case p.share != 1:
		return b.StopAt(target*p.share, t.gauge)
	}
	return b.TightenTo(target, t.gauge, t.hand, t.source)
}

// trace is true where the angle tells a second pull from a first: a first one would have turned the bolt by clearly
// more than the wrench resolves, the hand scatters and friction differs.
func (t *technician) trace(st *procedure.Step) bool {
	if t.angle == "" || t.missing > 0 {
		return false
	}
	if st.Action == procedure.TurnBy {
		return t.higher(st)
	}
	res, err := strconv.ParseFloat(t.angle, 64)
	if err != nil {
		panic(err) // the worlds are ours
	}
	below := t.gauge.Threshold
	if st.Stage > 0 {
		below = max(below, float64(t.joint.Stages[st.Stage-1].Torque)/1e6)
	}
	b := t.bolts[st.Fastener]
	turn := (float64(st.Torque)/1e6 - below) / b.Rate()
	return turn > 4*max(res, 1)
}

// higher is true where a fastener that is turned a second time ends clearly elsewhere than the one that is left out for it
// would have: by more than friction wanders from pull to pull, which nobody could tell from a slip.
func (t *technician) higher(st *procedure.Step) bool {
	i := slices.IndexFunc(t.steps, func(s procedure.Step) bool { return s.Stage == st.Stage && s.Fastener == st.Fastener })
	if t.slip != TurnTwice || i+1 == len(t.steps) {
		return true
	}
	turn := float64(st.Angle) / 1e3
	again, missed := t.bolts[st.Fastener], t.bolts[t.steps[i+1].Fastener]
	apart := again.Standing() - missed.Standing() + turn*(again.Own()-missed.Own())
	return math.Abs(apart) > 4*t.wander*turn*missed.Own()
}

// strange is true of a torque that no stage of the joint asks for.
func (t *technician) strange(torque float64) bool {
	for _, s := range t.joint.Stages {
		if x := torque * 1e6 / float64(s.Torque); s.Action == procedure.TurnBy || x > 0.85 && x < 1.15 {
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
}

func (t *technician) read(p sim.Pull) device.Reading {
	r := device.Reading{Wrench: "W", Unit: unit.Nm, Direction: device.Tighten}
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

func (t *technician) open() []bool {
	open := make([]bool, len(t.done))
	for i := range open {
		open[i] = !t.done[i]
	}
	return open
}

// steps rounds to a wrench's resolution and writes it.
func steps(v float64, step string) string {
	s, err := strconv.ParseFloat(step, 64)
	if err != nil {
		panic(err)
	}
	n := int64(v/s + 0.5)
	digits := 0
	if i := len(step) - 1; i > 0 && step[0] == '0' {
		digits = i - 1
	}
	return strconv.FormatFloat(float64(n)*s, 'f', digits, 64)
}
