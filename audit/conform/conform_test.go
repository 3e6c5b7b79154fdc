package conform_test

import (
	"math"
	"testing"

	"witnessmark/audit"
	"witnessmark/audit/conform"
)

// ppm is a probability in millionths, rounded.
func ppm(p float64) audit.Share { return audit.Share(math.Round(p * 1e6)) }

func near(a, b audit.Share) bool { return a-b <= 1 && b-a <= 1 }

// JCGM 106:2012, the examples of clause 7; inputs and printed results from memory, the third column recomputed.
func TestProbability_JCGM106(t *testing.T) {
	for _, c := range []struct {
		what        string
		y, expanded int64
		limits      conform.Limits
		want        float64
		printed     float64
	}{
		// y −5.47 V, u 0.05 V, upper limit −5.40 V; in units of 10 mV.
		{"7.3 example 1, breakdown voltage", -547, 10, conform.Limits{High: -540, HasHigh: true}, 0.9192433, 0.92},
		// y 509.7 kPa, u 8.6 kPa, lower limit 490 kPa; in units of 0.1 kPa.
		{"7.3 example 2, burst pressure", 5097, 172, conform.Limits{Low: 4900, HasLow: true}, 0.9890095, 0.99},
		// y 13.6, u 1.8, limits 12.5 and 16.3 mm²/s; in tenths.
		{"7.4, viscosity between two limits", 136, 36, conform.Between(125, 163), 0.6626298, 0.66},
	} {
		got := conform.Probability(c.y, c.expanded, c.limits)
		if !near(got, ppm(c.want)) {
			t.Errorf("%s: got %d ppm, want %d", c.what, got, ppm(c.want))
		}
		if math.Round(float64(got)/1e4)/100 != c.printed {
			t.Errorf("%s: got %d ppm, want %v as printed", c.what, got, c.printed)
		}
	}
}

// JCGM 106:2012, table 1 (from memory): z for a probability.
func TestProbability_Quantiles(t *testing.T) {
	for z, want := range map[int64]float64{841_621: 0.80, 1_281_552: 0.90, 1_644_854: 0.95, 2_326_348: 0.99, 3_090_232: 0.999} {
		if got := conform.Probability(0, 2_000_000, conform.Limits{High: z, HasHigh: true}); !near(got, ppm(want)) {
			t.Errorf("z %d: got %d ppm, want %d", z, got, ppm(want))
		}
	}
}

// What is falsely accepted at a limit drawn in by so many standard uncertainties: ILAC-G8:09/2019, 4.2.2 and table 1 (the table
// from memory) and ISO 14253-1:2017 (1.65·u, second-hand).
func TestProbability_GuardBands(t *testing.T) {
	for _, c := range []struct {
		rule string
		z    int64 // thousandths of u
		want float64
		less float64 // the risk that the rule names
	}{
		{"ILAC-G8, w = 0", 0, 0.5, 0.500001},
		{"ISO 14253-1, 1.65·u", 1_650, 0.0494715, 0.05},
		{"5 % one-sided", 1_645, 0.0499849, 0.05},
		{"ILAC-G8, w = U", 2_000, 0.0227501, 0.025},
		{"ILAC-G8, w = 1.5·U, three sigma", 3_000, 0.0013499, 0.0016},
		{"ILAC-G8, w = 3·U, six sigma", 6_000, 0, 0.000001},
	} {
		risk := audit.Certain - conform.Probability(-c.z, 2_000, conform.Limits{High: 0, HasHigh: true})
		if !near(risk, ppm(c.want)) || risk >= ppm(c.less) && c.less > 0.00001 {
			t.Errorf("%s: got a risk of %d ppm, want %d", c.rule, risk, ppm(c.want))
		}
	}
}

// Against the error function of the standard library, over the whole range.
func TestProbability_EveryZ(t *testing.T) {
	for z := int64(-7000); z <= 7000; z++ {
		want := ppm(0.5 * math.Erfc(-float64(z)/1000/math.Sqrt2))
		if got := conform.Probability(0, 2000, conform.Limits{High: z, HasHigh: true}); !near(got, want) {
			t.Fatalf("z %d/1000: got %d ppm, want %d", z, got, want)
		}
	}
}

// A torque of 95 … 105 N·m measured with U = 2 N·m (k = 2), constructed from ILAC-G8:09/2019, 4.2.1 and 4.2.2; in mN·m.
func TestGuard_TorqueWindow(t *testing.T) {
	window := conform.Between(95_000, 105_000)
	for _, c := range []struct {
		y           int64
		probability float64
		simple      conform.Outcome
		guarded     conform.Outcome
	}{
		{95_500, 0.691462, conform.Pass, conform.ConditionalPass},
		{96_900, 0.971283, conform.Pass, conform.ConditionalPass},
		{97_000, 0.977250, conform.Pass, conform.Pass},
		{100_000, 0.9999994, conform.Pass, conform.Pass},
		{103_000, 0.977250, conform.Pass, conform.Pass},
		{104_900, 0.539828, conform.Pass, conform.ConditionalPass},
		{105_000, 0.500000, conform.Pass, conform.ConditionalPass},
		{107_000, 0.022750, conform.Fail, conform.ConditionalFail},
		{107_100, 0.017864, conform.Fail, conform.Fail},
	} {
		if got := conform.Probability(c.y, 2_000, window); !near(got, ppm(c.probability)) {
			t.Errorf("%d mN·m: got %d ppm, want %d", c.y, got, ppm(c.probability))
		}
		if got := conform.Guard(c.y, 0, window); got != c.simple {
			t.Errorf("%d mN·m: got %s without a guard band, want %s", c.y, got, c.simple)
		}
		if got := conform.Guard(c.y, 2_000, window); got != c.guarded {
			t.Errorf("%d mN·m: got %s with a guard band of U, want %s", c.y, got, c.guarded)
		}
	}
}

func TestGuard_WindowNarrowerThanTwoGuardBands(t *testing.T) {
	if got := conform.Guard(100, 6, conform.Between(95, 105)); got != conform.ConditionalPass {
		t.Errorf("got %s in the middle, want conditional pass", got)
	}
}

func TestProbability_WithoutUncertainty(t *testing.T) {
	for y, want := range map[int64]audit.Share{94: 0, 95: audit.Certain, 105: audit.Certain, 106: 0} {
		if got := conform.Probability(y, 0, conform.Between(95, 105)); got != want {
			t.Errorf("%d: got %d, want %d", y, got, want)
		}
	}
}

func BenchmarkProbability(b *testing.B) {
	for b.Loop() {
		conform.Probability(96_900, 2_000, conform.Between(95_000, 105_000))
	}
}
