package trial_test

import (
	"math"
	"testing"

	"witnessmark/cmd/wrenchsim/trial"
)

// R. G. Newcombe: Two-sided confidence intervals for the single proportion, Statistics in Medicine 17 (1998) 857–872, the
// score method without continuity correction in table I; from memory.
func TestCount_Interval(t *testing.T) {
	for _, c := range []struct {
		trial.Count
		low, high float64
	}{
		{trial.Count{Hit: 81, Of: 263}, 0.2553, 0.3662},
		{trial.Count{Hit: 15, Of: 148}, 0.0624, 0.1605},
		{trial.Count{Hit: 0, Of: 20}, 0, 0.1611},
		{trial.Count{Hit: 1, Of: 29}, 0.0061, 0.1718},
	} {
		low, high := c.Interval()
		if math.Abs(low-c.low) > 5e-5 || math.Abs(high-c.high) > 5e-5 {
			t.Errorf("%d of %d: got %.4f … %.4f, want %.4f … %.4f", c.Hit, c.Of, low, high, c.low, c.high)
		}
	}
}
