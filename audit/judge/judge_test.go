package judge_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/judge"
	"witnessmark/audit/procedure"
	"witnessmark/device"
	"witnessmark/device/unit"
)

func degrees(n int64) *unit.Angle { a := unit.Angle(n) * unit.Degree; return &a }

func TestVerdict(t *testing.T) {
	nm := unit.NewtonMetre
	seat := procedure.Figures{Action: procedure.TightenTo, Torque: 60 * nm, Torques: procedure.TorqueWindow{Low: 57 * nm, High: 63 * nm, Set: true},
		Angles: procedure.AngleWindow{Low: 5_000, High: 80_000, Set: true}}
	plain := seat
	plain.Angles.Set = false
	turn := procedure.Figures{Action: procedure.TurnBy, Angle: 90_000, Angles: procedure.AngleWindow{Low: 85_000, High: 95_000, Set: true},
		Torques: procedure.TorqueWindow{Low: 80 * nm, High: 190 * nm, Set: true}}
	ease := procedure.Figures{Action: procedure.LoosenBy, Angle: 90_000, Angles: procedure.AngleWindow{Low: 75_000, High: 105_000, Set: true}}
	for rule, c := range map[string]struct {
		f      procedure.Figures
		torque unit.Torque
		angle  *unit.Angle
		way    device.Direction
		turned unit.Angle
		classA bool
		want   audit.Verdict
	}{
		"inside both windows":                                  {seat, 60 * nm, degrees(30), device.Tighten, 0, true, audit.Pass},
		"on the lower torque limit":                            {seat, 57 * nm, degrees(30), device.Tighten, 0, true, audit.Pass},
		"one micro-newton-metre below it":                      {seat, 57*nm - 1, degrees(30), device.Tighten, 0, true, audit.LowTorque},
		"on the upper torque limit":                            {seat, 63 * nm, degrees(30), device.Tighten, 0, true, audit.Pass},
		"above it":                                             {seat, 63*nm + 1, degrees(30), device.Tighten, 0, true, audit.HighTorque},
		"angle below the monitoring window":                    {seat, 60 * nm, degrees(4), device.Tighten, 0, true, audit.LowAngle},
		"the turn of an earlier try counts":                    {seat, 60 * nm, degrees(4), device.Tighten, 20_000, true, audit.Pass},
		"angle above the monitoring window":                    {seat, 60 * nm, degrees(81), device.Tighten, 0, true, audit.HighAngle},
		"a class A joint without an angle":                     {plain, 60 * nm, nil, device.Tighten, 0, true, audit.NoAngle}, // VDI/VDE 2862 (from memory): torque alone is no proof in class A
		"a class B joint without an angle":                     {plain, 60 * nm, nil, device.Tighten, 0, false, audit.Pass},
		"a monitored angle that was not sent":                  {seat, 60 * nm, nil, device.Tighten, 0, false, audit.NoAngle},
		"low torque weighs more than a missing angle":          {seat, 40 * nm, nil, device.Tighten, 0, true, audit.LowTorque},
		"turned the wrong way":                                 {seat, 60 * nm, degrees(30), device.Loosen, 0, true, audit.WrongDirection},
		"an angle stage inside":                                {turn, 120 * nm, degrees(91), device.Tighten, 0, true, audit.Pass},
		"an angle stage short":                                 {turn, 120 * nm, degrees(84), device.Tighten, 0, true, audit.LowAngle},
		"an angle stage finished in two pulls":                 {turn, 120 * nm, degrees(40), device.Tighten, 50_000, true, audit.Pass},
		"an angle stage with the torque of a bolt that yields": {turn, 79 * nm, degrees(90), device.Tighten, 0, true, audit.LowTorque},
		"an angle stage without an angle":                      {turn, 120 * nm, nil, device.Tighten, 0, false, audit.NoAngle},
		"loosening in a loosening stage":                       {ease, 50 * nm, degrees(90), device.Loosen, 0, false, audit.Pass},
		"tightening in a loosening stage":                      {ease, 50 * nm, degrees(90), device.Tighten, 0, false, audit.WrongDirection},
	} {
		t.Run(rule, func(t *testing.T) {
			r := device.Reading{Torque: c.torque, Angle: c.angle, Direction: c.way}
			if got := judge.Verdict(judge.Pull{Figures: c.f, Reading: &r, Turned: c.turned, NeedsAngle: c.classA}); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

func TestVerdict_MoreThanOneStageOrOneWrench(t *testing.T) {
	nm := unit.NewtonMetre
	turn := procedure.Figures{Action: procedure.TurnBy, Angle: 90_000, Angles: procedure.AngleWindow{Low: 85_000, High: 95_000, Set: true},
		Total: procedure.AngleWindow{Low: 172_000, High: 188_000, Set: true}}
	// A window of 95 … 105 N·m and U = 2 N·m, constructed from ILAC-G8:09/2019, 4.2.2.
	seat := procedure.Figures{Action: procedure.TightenTo, Torque: 100 * nm, Torques: procedure.TorqueWindow{Low: 95 * nm, High: 105 * nm, Set: true}}
	verify := procedure.Figures{Action: procedure.Verify, Torques: procedure.TorqueWindow{Low: 57 * nm, High: 70 * nm, Set: true}}
	for rule, c := range map[string]struct {
		pull   judge.Pull
		torque unit.Torque
		angle  *unit.Angle
		want   audit.Verdict
	}{
		"two turns whose sum is inside":                      {judge.Pull{Figures: turn, Total: 90_000}, 120 * nm, degrees(90), audit.Pass},
		"two turns that are each inside and too little both": {judge.Pull{Figures: turn, Total: 85_000}, 120 * nm, degrees(86), audit.LowAngle},
		"two turns that are too much together":               {judge.Pull{Figures: turn, Total: 95_000}, 120 * nm, degrees(94), audit.HighAngle},
		"guarded, below the lower limit drawn in":            {judge.Pull{Figures: seat, Guard: 2 * nm}, 97*nm - 1, nil, audit.LowTorque},
		"guarded, on the lower limit drawn in":               {judge.Pull{Figures: seat, Guard: 2 * nm}, 97 * nm, nil, audit.Pass},
		"guarded, on the upper limit drawn in":               {judge.Pull{Figures: seat, Guard: 2 * nm}, 103 * nm, nil, audit.Pass},
		"guarded, above it":                                  {judge.Pull{Figures: seat, Guard: 2 * nm}, 103*nm + 1, nil, audit.HighTorque},
		"good, by a wrench that may not be used":             {judge.Pull{Figures: seat, Unfit: true}, 100 * nm, nil, audit.WrenchUnfit},
		"low, by a wrench that may not be used":              {judge.Pull{Figures: seat, Unfit: true}, 90 * nm, nil, audit.LowTorque},
		"moves where it should":                              {judge.Pull{Figures: verify, NeedsAngle: true}, 60 * nm, nil, audit.Pass},
		"moves too early":                                    {judge.Pull{Figures: verify}, 56 * nm, degrees(2), audit.LowTorque},
	} {
		t.Run(rule, func(t *testing.T) {
			c.pull.Reading = &device.Reading{Torque: c.torque, Angle: c.angle, Direction: device.Tighten}
			if got := judge.Verdict(c.pull); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

func TestWrenchFlags(t *testing.T) {
	const ok = 60 * unit.NewtonMetre
	for rule, c := range map[string]struct {
		reading device.Reading
		pulls   int64
		want    []string
	}{
		"the last reading before a calibration by cycles": {device.Reading{Torque: ok}, 5000, nil},
		"the first one after it":                          {device.Reading{Torque: ok}, 5001, []string{audit.OutOfCalibration}},
		"nothing to say":                                  {device.Reading{Torque: ok}, 0, nil},
		"kept in memory and sent later":                   {device.Reading{Torque: ok, Stored: true}, 0, []string{audit.Resent}},
		"the same line as one before":                     {device.Reading{Torque: ok, Repeat: true}, 0, []string{audit.PossibleRepeat}},
		"both":                                            {device.Reading{Torque: ok, Stored: true, Repeat: true}, 0, []string{audit.Resent, audit.PossibleRepeat}},
		"above the range of the wrench":                   {device.Reading{Torque: 201 * unit.NewtonMetre}, 0, []string{audit.OutOfRange}},
		"on the lowest calibrated value":                  {device.Reading{Torque: 20 * unit.NewtonMetre}, 0, nil}, // ISO 6789-1:2017, 5.1.3: usable from there
		"below the lowest calibrated value":               {device.Reading{Torque: 20*unit.NewtonMetre - 1}, 0, []string{audit.OutOfRange}},
		"on the upper end of that range":                  {device.Reading{Torque: 200 * unit.NewtonMetre}, 0, nil},
	} {
		t.Run(rule, func(t *testing.T) {
			w := audit.WrenchDeclared{RangeLow: int64(20 * unit.NewtonMetre), RangeHigh: int64(200 * unit.NewtonMetre), Cycles: 5000}
			if got := judge.WrenchFlags(w, &c.reading, time.Time{}, c.pulls); !slices.Equal(got, c.want) {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

// ISO 6789-1:2017, 7 (from memory): the deviation is (X_a − X_r)/X_r, of the reference and not of what was set; set to 100
// N·m with 4 % permitted, 104 and 96.2 N·m are inside and 96 N·m, which is 4.17 % of the reference, is not. Calibration by date
// or cycles, whichever first (public sheet on ISO 6789, 5000 cycles from memory; FAA AC 43.13-1B, 7-40a: at least yearly).
func TestUncalibrated(t *testing.T) {
	due := time.Date(2027, 1, 17, 23, 59, 59, 0, time.UTC)
	for rule, c := range map[string]struct {
		w     audit.WrenchDeclared
		at    time.Time
		pulls int64
		want  string // empty: in calibration
	}{
		"100 set and 104 applied":          {audit.WrenchDeclared{Permissible: 40_000, Deviation: -38_462}, due, 1, ""},
		"100 set and 96.2 applied":         {audit.WrenchDeclared{Permissible: 40_000, Deviation: 39_501}, due, 1, ""},
		"100 set and 96 applied":           {audit.WrenchDeclared{Permissible: 40_000, Deviation: 41_667}, due, 1, "deviates by 4.1667 %, and its class permits 4 %"},
		"just what is permitted":           {audit.WrenchDeclared{Permissible: 40_000, Deviation: -40_000}, due, 1, ""},
		"too little is as bad":             {audit.WrenchDeclared{Permissible: 60_000, Deviation: -60_001}, due, 1, "deviates by -6.0001 %, and its class permits 6 %"},
		"nobody said what is permitted":    {audit.WrenchDeclared{Deviation: 900_000}, due, 1, ""},
		"the last day":                     {audit.WrenchDeclared{Due: &due, Cycles: 5000}, due, 5000, ""},
		"after it":                         {audit.WrenchDeclared{Due: &due, Cycles: 5000}, due.Add(time.Second), 1, "ended on 2027-01-17"},
		"after so many readings before it": {audit.WrenchDeclared{Due: &due, Cycles: 5000}, due, 5001, "5000 readings"},
	} {
		t.Run(rule, func(t *testing.T) {
			got := judge.Uncalibrated(c.w, c.at, c.pulls)
			if (got == "") != (c.want == "") || !strings.Contains(got, c.want) {
				t.Errorf("got %q, want %q", got, c.want)
			}
			flagged := slices.Contains(judge.WrenchFlags(c.w, &device.Reading{}, c.at, c.pulls), audit.OutOfCalibration)
			if flagged != (got != "") {
				t.Errorf("got flagged %v and the reason %q, want both or neither", flagged, got)
			}
		})
	}
}

// ISO 6789-2:2017, 6 (from memory): the interval is the deviation and the expanded uncertainty together. The decisions are
// those of a window of 95 … 105 N·m with U = 2 N·m, constructed from ILAC-G8:09/2019, 4.2.
func TestConformity(t *testing.T) {
	nm := unit.NewtonMetre
	w := audit.WrenchDeclared{Deviation: -8_000, Uncertainty: 12_000}
	if half, known := judge.Uncertain(w, 100*nm); !known || half != 2*nm {
		t.Errorf("got %s, %v, want 2 N·m of 0.8 and 1.2 %%", half, known)
	}
	if _, known := judge.Uncertain(audit.WrenchDeclared{Deviation: 5_000}, 100*nm); known {
		t.Error("got an uncertainty that nobody declared")
	}
	window := procedure.TorqueWindow{Low: 95 * nm, High: 105 * nm, Set: true}
	for _, c := range []struct {
		torque      unit.Torque
		probability int64
		conditional bool
	}{{96_900_000, 971_283, true}, {97 * nm, 977_250, false}, {104_900_000, 539_828, true}, {107_100_000, 17_864, false}} {
		p, conditional := judge.Conformity(window, c.torque, 2*nm)
		if d := p - c.probability; d < -1 || d > 1 || conditional != c.conditional {
			t.Errorf("%s: got %d ppm, conditional %v, want %d and %v", c.torque, p, conditional, c.probability, c.conditional)
		}
	}
}
