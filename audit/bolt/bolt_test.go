package bolt_test

import (
	"fmt"
	"math"
	"testing"

	"witnessmark/audit/bolt"
	"witnessmark/device/unit"
)

func thread(t *testing.T, s string) bolt.Thread {
	t.Helper()
	th, err := bolt.ParseThread(s)
	if err != nil {
		t.Fatal(err)
	}
	return th
}

// Stress areas and proof loads as printed for ISO 898-1, to three digits.
func TestThread_ISO898(t *testing.T) {
	for _, c := range []struct {
		name                string
		area                float64 // mm²
		load88, load109, l2 float64 // N
	}{
		{"M6", 20.1, 11_600, 16_700, 19_500},
		{"M8", 36.6, 21_200, 30_400, 35_500},
		{"M10", 58.0, 33_700, 48_100, 56_300},
		{"M12", 84.3, 48_900, 70_000, 81_800},
		{"M8x1", 39.2, 0, 0, 0},
		{"M10x1.25", 61.2, 0, 0, 0},
		{"M12×1.5", 88.1, 0, 0, 0},
	} {
		th := thread(t, c.name)
		if got := float64(th.StressArea()) / 1e6; three(got) != three(c.area) {
			t.Errorf("%s: got a stress area of %.3f mm², want %v", c.name, got, c.area)
		}
		for class, want := range map[string]float64{"8.8": c.load88, "10.9": c.load109, "12.9": c.l2} {
			if got, _ := th.ProofLoad(class); want != 0 && math.Abs(float64(got)-want) > 0.01*want { // the table rounds down to three digits
				t.Errorf("%s %s: got a proof load of %d N, want %v", c.name, class, got, want)
			}
		}
	}
}

func three(x float64) string { return fmt.Sprintf("%.3g", x) }

// Pitch and root diameters of ISO 724, in mm.
func TestThread_ISO724(t *testing.T) {
	for name, want := range map[string][2]float64{"M8": {7.1881, 6.4664}, "M10": {9.0257, 8.1597}, "M12": {10.8633, 9.8530}, "M12x1.5": {11.0257, 10.1597}} {
		th := thread(t, name)
		for i, got := range []unit.Length{th.PitchDiameter(), th.RootDiameter()} {
			if math.Abs(float64(got)/1e6-want[i]) > 0.0001 {
				t.Errorf("%s: got %v nm, want %v mm", name, got, want[i])
			}
		}
	}
}

// Assembly preload and torque of VDI 2230 part 1: hexagon bolts at 90 % of the yield point, fine threads as printed in
// the edition of 2001, coarse ones from memory of the edition of 2003. Torque in N·m, preload in kN, by friction.
func TestThread_VDI2230(t *testing.T) {
	for _, c := range []struct {
		name     string
		friction int64
		force    float64
		torque   string
	}{
		{"M8x1", 100, 20.7, "22.8"}, {"M8x1", 120, 20.2, "26.1"}, {"M8x1", 140, 19.7, "29.2"},
		{"M10x1.25", 100, 32.4, "44.5"}, {"M10x1.25", 120, 31.6, "50.9"}, {"M10x1.25", 140, 30.8, "56.8"},
		{"M12x1.25", 100, 49.1, "78.7"}, {"M12x1.25", 120, 48.0, "90.4"}, {"M12x1.25", 140, 46.8, "101.4"},
		{"M8", 120, 18.6, "24.6"}, {"M10", 120, 29.6, "48.5"}, {"M12", 120, 43.0, "83.6"},
	} {
		torque, err := unit.TorqueIn(c.torque, unit.Nm)
		if err != nil {
			t.Fatal(err)
		}
		f := thread(t, c.name).FromTorque(torque, bolt.Friction{Low: c.friction, High: c.friction})
		if got := float64(f.Low) / 1000; math.Abs(got-c.force) > 0.03*c.force { // the head is a common one, not the exact one of the table
			t.Errorf("%s at %d‰: got %.1f kN, want %v", c.name, c.friction, got, c.force)
		}
	}
}

// VDI 2230 part 1, resilience; constructed: M10×1.5 clamping rigid parts over 60 mm gains about 750 N a degree, and 676 N
// where the parts give a tenth as much as the bolt.
func TestThread_FromAngle(t *testing.T) {
	f := thread(t, "M10").FromAngle(30*unit.Degree, 60_000_000)
	if f.Low > 20_284 || f.High < 20_284 {
		t.Errorf("got %d … %d N for 30°, want 20284 N among them", f.Low, f.High)
	}
	if f.Low < 15_000 || f.High > 26_000 {
		t.Errorf("got %d … %d N for 30°, want no wilder guess", f.Low, f.High)
	}
}

func TestThread_TurnRate(t *testing.T) {
	rate := thread(t, "M12").TurnRate(95_000_000, bolt.FrictionOf("oiled"))
	if rate < 400_000 || rate > 1_600_000 { // common practice: a mid-sized engine bolt turns some 0.8° per N·m
		t.Errorf("got %d µ° per N·m, want about 800000", rate)
	}
}

func TestParseThread_Wrong(t *testing.T) {
	for _, s := range []string{"", "M", "12", "M12x", "M12x7", "M11", "Mx1", "M12x1.7.5", "W12", "M-3", "M12x0"} {
		if th, err := bolt.ParseThread(s); err == nil {
			t.Errorf("%q: got %+v, want an error", s, th)
		}
	}
}
