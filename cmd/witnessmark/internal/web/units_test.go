package web

import (
	"testing"

	"witnessmark/device/unit"
)

// 1 lbf·ft = 1.3558179483314004 N·m and 1 kgf·m = 9.80665 N·m, exactly (NIST SP 811, appendix B; the figures beside them are
// worked out from these).
func TestWords_TorquesInAnotherUnit(t *testing.T) {
	for _, c := range []struct {
		u        unit.TorqueUnit
		in, want string
	}{
		{unit.Nm, "60 N·m (57 … 63 N·m)", "60 N·m (57 … 63 N·m)"},
		{unit.LbfFt, "60 N·m (57 … 63 N·m)", "44.3 lbf·ft (42.0 … 46.5 lbf·ft)"},
		{unit.LbfFt, "turn 90° (85 … 95°)", "turn 90° (85 … 95°)"},
		{unit.KgfM, "Next: fastener 3, 98.0665 N·m.", "Next: fastener 3, 10.00000 kgf·m."},
		{unit.Nm, "22 lbf·ft", "29.8 N·m"},
		{unit.LbfIn, "stage seat, fastener 10 was 26.42 N·m: low torque", "stage seat, fastener 10 was 233.837 lbf·in: low torque"},
		{unit.LbfFt, "preload 30 … 40 kN, clamped by 12.5 mN·m", "preload 30 … 40 kN, clamped by 0.01 lbf·ft"},
	} {
		if got := (&words{unit: c.u}).in(c.in); got != c.want {
			t.Errorf("%s in %s: got %q, want %q", c.in, c.u, got, c.want)
		}
	}
}
