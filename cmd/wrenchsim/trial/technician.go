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

	outfit
	reach    *reach
	way      Way
	acts     []Act
	renewed  []int    // fasteners with a new bolt that is not drawn up yet
	turned   []turned // by fastener
	watching bool
	torque   string // resolution
	angle    string
	missing  float64
	legs     [][]int // of steps
	done     []bool
	readings []device.Reading
	labels   []Label
	knowable bool
	hidden   bool // a renewal has taken the trace of a slip away
}

func (t *technician) begin() {
	t.outfit = t.world.draw(t.joint, t.source)
	t.torque = t.world.Torques[t.source.IntN(len(t.world.Torques))]
	t.angle = t.world.Angles[t.source.IntN(len(t.world.Angles))]
	t.missing = t.world.Missing.draw(t.source)
	t.split()
	t.done, t.turned = make([]bool, len(t.steps)), make([]turned, len(t.joint.Fasteners))
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
	if at < 0 { // a second one alone would be a slip in a run that is called clean
		t.slip, second = Clean, -1
	}
	changes := t.renewals()
	t.fitted(-1)
	for l := range t.legs {
		t.fitted(t.steps[t.legs[l][0]].Stage)
		kind := Clean
		switch l {
		case at:
			kind = kinds[0]
		case second:
			kind = kinds[1]
		}
		t.leg(t.legs[l], kind, changes[l])
	}
	if t.slip == Several && t.repeats() { // a hit too many passes for one of the stage that repeats the torque
		t.knowable = false
	}
}

// repeats is true where a stage tightens to the torque that the stage before it has reached.
func (t *technician) repeats() bool {
	for i, s := range t.joint.Stages[1:] {
		if before := t.joint.Stages[i]; s.Action == procedure.TightenTo && before.Action == procedure.TightenTo && s.Torque == before.Torque {
			return true
		}
	}
	return false
}

// split cuts the sequence into its legs: the stages; or the whole, where every fastener goes through all stages at once.
func (t *technician) split() {
	whole := t.joint.Round == procedure.RoundFastener
	for i, s := range t.steps {
		if i == 0 || !whole && s.Stage != t.steps[i-1].Stage {
			t.legs = append(t.legs, nil)
		}
		last := len(t.legs) - 1
		t.legs[last] = append(t.legs[last], i)
	}
}

// room draws a leg that the slip can happen in, -1: none.
func (t *technician) room(s Slip) int {
	if s == Clean {
		return -1
	}
	var fit []int
	for l, leg := range t.legs {
		if t.fits(s, l, leg) {
			fit = append(fit, l)
		}
	}
	if len(fit) == 0 {
		return -1
	}
	return fit[t.source.IntN(len(fit))]
}

// fits is true of a leg with steps of the action that a slip needs. Where actions change within a leg, it has to be the
// same all the way.
func (t *technician) fits(s Slip, l int, leg []int) bool {
	action := t.steps[leg[0]].Action
	if action == procedure.Verify {
		return false
	}
	for _, i := range leg {
		if t.steps[i].Action != action {
			return s == MissOne || s == Elsewhere
		}
	}
	switch s {
	case TurnTwice:
		return action == procedure.TurnBy
	case MissLast: // what comes after shows it
		return l+1 < len(t.legs)
	case AgainMiss, AgainExtra, AgainOld, LowNoticed, LowUnseen, TooHigh:
		return action == procedure.TightenTo
	case MadeGood, Swapped, TurnedBack:
		return action != procedure.LoosenBy
	}
	return true
}

func (t *technician) leg(steps []int, s Slip, change Way) {
	if len(steps) < 3 {
		panic("trial: a leg of less than three steps has no room for a slip")
	}
	if t.steps[steps[0]].Action == procedure.Verify {
		t.round(steps)
		return
	}
	k := 1 + t.source.IntN(len(steps)-2) // one before it, one after it
	if s == MissLast {
		k = len(steps) - 1
	}
	pulls := walk(s, steps, k, t.source.IntN(k))
	if change != "" {
		pulls = t.renewing(change, pulls)
	}
	for _, p := range pulls {
		t.pull(p)
	}
	t.renewed = t.renewed[:0]
}

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

// due is the first step that is not done, or the last. A new bolt that is not drawn up yet is nobody's next.
func (t *technician) due() int {
	for i, done := range t.done {
		if !done && !slices.Contains(t.renewed, t.steps[i].Fastener) {
			return i
		}
	}
	return len(t.done) - 1
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

func (t *technician) open() []bool {
	open := make([]bool, len(t.done))
	for i := range open {
		open[i] = !t.done[i] && t.steps[i].Action != procedure.Verify
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
