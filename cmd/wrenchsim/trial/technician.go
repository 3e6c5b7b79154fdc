package trial

import (
	"math/rand/v2"
	"slices"
	"strconv"

	"witnessmark/audit/procedure"
	"witnessmark/device"
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

// due is the first step that is not done, or the last. A new bolt that is not drawn up yet is nobody's next.
func (t *technician) due() int {
	for i, done := range t.done {
		if !done && !slices.Contains(t.renewed, t.steps[i].Fastener) {
			return i
		}
	}
	return len(t.done) - 1
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
