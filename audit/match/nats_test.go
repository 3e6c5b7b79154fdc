package match

import (
	"math"
	"testing"
)

// The integer logarithm and exponential are held against the standard library's.
func TestNats_AgreeWithMath(t *testing.T) {
	for _, x := range []int64{1, 2, 3, 7, 10, 999, 1_000_000, 123_456_789, 1 << 40, 987_654_321_987, 1 << 62} {
		if got, want := int64(ln(x)), math.Log(float64(x))*1e6; math.Abs(float64(got)-want) > 10 {
			t.Errorf("ln %d: got %d µnat, want %.1f", x, got, want)
		}
	}
	for _, x := range []int64{0, -1, -500_000, -999_999, -1_000_000, -3_333_333, -12_000_001} {
		if got, want := float64(expNano(nats(x))), math.Exp(float64(x)/1e6)*1e9; math.Abs(got-want) > 3+want/1e6 {
			t.Errorf("exp %d µnat: got %.0f, want %.1f thousand-millionths", x, got, want)
		}
	}
	for _, c := range []struct{ dev, sigma int64 }{{0, 1500}, {1500, 1500}, {-4000, 750}, {90_000, 2500}} {
		z := float64(c.dev) / float64(c.sigma)
		want := (-z*z/2 - math.Log(float64(c.sigma)*math.Sqrt(2*math.Pi))) * 1e6
		if got := float64(gauss(c.dev, c.sigma*c.sigma)); math.Abs(got-want) > 2000 {
			t.Errorf("density at %d with spread %d: got %.0f, want %.0f µnat", c.dev, c.sigma, got, want)
		}
	}
}
