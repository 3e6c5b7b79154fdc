package conform

import "witnessmark/audit"

// Limits are the two ends of a window, both included, in the unit of the value. A side that is not set is open.
type Limits struct {
	Low, High       int64
	HasLow, HasHigh bool
}

// Between is a window with two ends.
func Between(low, high int64) Limits { return Limits{low, high, true, true} }

// Probability is the share of the possible true values that lie inside the limits, when y was measured with the
// expanded uncertainty U of coverage factor 2 (JCGM 106:2012, equation 7 and its one-sided forms): the standard
// uncertainty is U/2, the distribution normal. With U = 0 it is all or nothing.
func Probability(y, expanded int64, l Limits) audit.Share {
	if expanded <= 0 {
		if l.HasLow && y < l.Low || l.HasHigh && y > l.High {
			return 0
		}
		return audit.Certain
	}
	p := audit.Certain
	if l.HasHigh {
		p = below(2*(l.High-y), expanded)
	}
	if l.HasLow {
		p -= below(2*(l.Low-y), expanded)
	}
	return max(p, 0)
}

// Outcome is where a value lies when limits and uncertainty are both looked at (ILAC-G8:09/2019, the non-binary statement).
type Outcome string

// The four statements.
const (
	Pass            Outcome = "pass"
	ConditionalPass Outcome = "conditional pass" // inside the limits, by less than the guard band
	ConditionalFail Outcome = "conditional fail" // outside the limits, by no more than the guard band
	Fail            Outcome = "fail"
)

// Guard is the statement about y with a guard band of w at either limit. w = U makes the risk of a false pass less than
// 2.5 % (ILAC-G8:09/2019, 4.2.2). A window narrower than two guard bands has no pass that is not conditional.
func Guard(y, w int64, l Limits) Outcome {
	in, out := true, false
	inside := true
	if l.HasLow {
		in, out, inside = in && y >= l.Low+w, out || y < l.Low-w, inside && y >= l.Low
	}
	if l.HasHigh {
		in, out, inside = in && y <= l.High-w, out || y > l.High+w, inside && y <= l.High
	}
	switch {
	case in:
		return Pass
	case inside:
		return ConditionalPass
	case out:
		return Fail
	}
	return ConditionalFail
}
