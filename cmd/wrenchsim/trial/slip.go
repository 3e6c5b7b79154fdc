package trial

import "strings"

// Slip is what goes wrong in a run.
type Slip string

// The slips. Each happens once in a run, but for Several.
const (
	Clean      Slip = "clean"
	AgainMiss  Slip = "hit twice, next missed" // the count is right
	AgainExtra Slip = "hit twice, none missed"
	AgainOld   Slip = "an earlier one hit again"
	MissOne    Slip = "one missed"
	MissLast   Slip = "last of a stage missed"
	MadeGood   Slip = "one left and made good"
	Swapped    Slip = "two swapped"
	LowNoticed Slip = "let go early, done again"
	LowUnseen  Slip = "let go early, unnoticed"
	TooHigh    Slip = "run over"
	TurnedBack Slip = "one turned back"
	Elsewhere  Slip = "wrench tried elsewhere"
	TurnTwice  Slip = "turned twice, next missed" // in an angle stage
	Several    Slip = "two slips together"
)

// Slips lists them in the order of the table.
func Slips() []Slip {
	return []Slip{Clean, AgainMiss, AgainExtra, AgainOld, MissOne, MissLast, MadeGood, Swapped, LowNoticed, LowUnseen, TooHigh,
		TurnedBack, Elsewhere, TurnTwice, Several}
}

// Beginning lists the slips whose names begin so, with hyphens for spaces; empty: all.
func Beginning(name string) (out []Slip) {
	for _, s := range Slips() {
		if strings.HasPrefix(string(s), strings.ReplaceAll(name, "-", " ")) {
			out = append(out, s)
		}
	}
	return out
}

// pull is one thing the technician does.
type pull struct {
	step   int     // -1: somewhere else
	share  float64 // of the target torque or angle; 1: as it should be
	back   bool    // turned back instead
	renew  bool    // no pull: the bolt of that step's fastener gives way to a new one
	slip   bool    // what the run is named after
	shadow bool    // equal fasteners hide which one it is
}

// walk is the pulls of one stage, steps in order, with a slip at the k-th of them; other is one before it.
func walk(s Slip, steps []int, k, other int) []pull {
	out := make([]pull, 0, len(steps)+1)
	for n, i := range steps {
		switch {
		case n == k:
			out = append(out, slipAt(s, steps, k, other)...)
		case n == k+1 && (s == AgainMiss || s == TurnTwice || s == Swapped): // passed over, or done before its turn
		default:
			hidden := n > k && (s == AgainMiss || s == TurnTwice || s == MissOne || s == MadeGood || s == TurnedBack)
			out = append(out, pull{step: i, share: 1, shadow: hidden})
		}
	}
	if s == MadeGood {
		out = append(out, pull{step: steps[k], share: 1, slip: true, shadow: true})
	}
	return out
}

// slipAt is what is done when the k-th is due.
func slipAt(s Slip, steps []int, k, other int) []pull {
	good, i := pull{step: steps[k], share: 1}, steps[k]
	switch s {
	case AgainMiss, AgainExtra, TurnTwice:
		return []pull{good, {step: i, share: 1, slip: true}}
	case AgainOld:
		return []pull{good, {step: steps[other], share: 1, slip: true, shadow: true}}
	case LowNoticed:
		return []pull{{step: i, share: 0.7, slip: true}, good}
	case LowUnseen:
		return []pull{{step: i, share: 0.7, slip: true}}
	case TooHigh:
		return []pull{{step: i, share: 1.25, slip: true}}
	case TurnedBack:
		return []pull{good, {step: i, back: true, slip: true}}
	case Elsewhere:
		return []pull{good, {step: -1, share: 1, slip: true}}
	case Swapped:
		return []pull{{step: steps[k+1], share: 1, slip: true, shadow: true}, {step: i, share: 1, shadow: true}}
	case MissOne, MissLast, MadeGood:
		return nil
	}
	return []pull{good}
}
