package recall

import (
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"witnessmark/audit"
	"witnessmark/audit/procedure"
	"witnessmark/device"
	"witnessmark/device/unit"
)

const nm = unit.NewtonMetre

func found(t *testing.T, text string) AsFound {
	t.Helper()
	f, err := Parse(text)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func TestParse(t *testing.T) {
	for text, want := range map[string]string{
		"2.5 %@40 N·m, 3 %@200 N·m":  "2.5 %@40 N·m, 3 %@200 N·m",
		" -0.25%@ 200 Nm,+4 %@40 Nm": "4 %@40 N·m, -0.25 %@200 N·m",
		"0 %@1 N·m":                  "0 %@1 N·m",
		"1.2345 %@100 lbf·ft":        "1.2345 %@135.581795 N·m", // 1 lbf·ft = 1.355 817 948… N·m (NIST SP 811)
	} {
		f, err := Parse(text)
		if err != nil || f.String() != want {
			t.Errorf("%q: got %q, %v, want %q", text, f, err, want)
			continue
		}
		if again, err := Parse(f.String()); err != nil || again.String() != want {
			t.Errorf("%q: got %q, %v when read again", want, again, err)
		}
	}
	for rule, text := range map[string]string{"nothing": "", "no torque": "2.5 %", "no percentage": "2.5@40 N·m", "no unit": "2 %@40", "twice": "1 %@40 N·m, 2 %@40 N·m",
		"too much": "51 %@40 N·m", "too fine": "1.00001 %@40 N·m", "no torque at all": "1 %@0 N·m", "below": "1 %@-4 N·m", "words": "much %@40 N·m", "signs": "--1 %@40 N·m",
		"SQL": "'; DROP TABLE x", "a zero byte": "\x00", "many": strings.Repeat("1 %@1 N·m,", 100)} {
		if f, err := Parse(text); err == nil || len(err.Error()) > 300 {
			t.Errorf("%s: got %v, %v, want a short sentence", rule, f, err)
		}
	}
}

func TestAsFound_At(t *testing.T) {
	f := found(t, "2 %@40 N·m, 4 %@140 N·m, -1 %@240 N·m")
	for shown, want := range map[unit.Torque]int64{10 * nm: 20_000, 40 * nm: 20_000, 90 * nm: 30_000, 140 * nm: 40_000, 190 * nm: 15_000, 220 * nm: 0, 240 * nm: -10_000, 900 * nm: -10_000} {
		if got := f.At(shown); got != want {
			t.Errorf("%s: got %d, want %d millionths", shown, got, want)
		}
	}
}

// A wrench that shows 2.5 % too much showed 102.5 N·m for 100 N·m; through an adapter that doubles it the fastener got 200.
func TestAsFound_True(t *testing.T) {
	f := found(t, "2.5 %@100 N·m")
	if got := f.True(102_500_000, 102_500_000); got != 100*nm {
		t.Errorf("got %s, want 100 N·m", got)
	}
	if got := f.True(205_000_000, 102_500_000); got != 200*nm {
		t.Errorf("through an adapter: got %s, want 200 N·m", got)
	}
	rapid.Check(t, func(t *rapid.T) {
		truth := unit.Torque(rapid.Int64Range(1, 2_000_000_000).Draw(t, "true"))
		d := rapid.Int64Range(-500_000, 500_000).Draw(t, "deviation")
		shown := unit.Torque(divide(int64(truth)*(whole+d), whole))
		if got := (AsFound{{nm, d}}).True(shown, shown); got-truth > 1 || truth-got > 1 {
			t.Fatalf("got %d, want %d", got, truth)
		}
	})
}

func TestAgain(t *testing.T) {
	seat := procedure.Figures{Action: procedure.TightenTo, Torques: procedure.TorqueWindow{Low: 57 * nm, High: 63 * nm, Set: true}}
	watched := seat
	watched.Angles = procedure.AngleWindow{Low: 5 * unit.Degree, High: 80 * unit.Degree, Set: true}
	turn := procedure.Figures{Action: procedure.TurnBy, Angles: procedure.AngleWindow{Low: 85 * unit.Degree, High: 95 * unit.Degree, Set: true},
		Torques: procedure.TorqueWindow{Low: 57 * nm, High: 63 * nm, Set: true}}
	bare := turn
	bare.Torques.Set = false
	for rule, c := range map[string]struct {
		figures   procedure.Figures
		torque    unit.Torque
		found     string
		was, want audit.Verdict
		change    func(*Pull)
	}{
		"a pass turns":                              {seat, 58 * nm, "3 %@60 N·m", audit.Pass, audit.LowTorque, nil},
		"exactly at the limit it passes":            {seat, 58_710_000, "3 %@60 N·m", audit.Pass, audit.Pass, nil},
		"a hair below it turns":                     {seat, 58_709_000, "3 %@60 N·m", audit.Pass, audit.LowTorque, nil},
		"too little shown":                          {seat, 62 * nm, "-3 %@60 N·m", audit.Pass, audit.HighTorque, nil},
		"a failure that was none":                   {seat, 64 * nm, "3 %@60 N·m", audit.HighTorque, audit.Pass, nil},
		"but for its angle":                         {watched, 64 * nm, "3 %@60 N·m", audit.HighTorque, audit.HighAngle, nil},
		"an angle that passed by two pulls":         {watched, 60 * nm, "1 %@60 N·m", audit.Pass, audit.Pass, nil},
		"an angle that failed, torque judged first": {watched, 58 * nm, "3 %@60 N·m", audit.HighAngle, audit.LowTorque, nil},
		"an angle that failed, torque still good":   {watched, 60 * nm, "1 %@60 N·m", audit.HighAngle, audit.HighAngle, nil},
		"a turn, torque watched":                    {turn, 58 * nm, "3 %@60 N·m", audit.Pass, audit.LowTorque, nil},
		"a turn that failed by its angle":           {turn, 58 * nm, "3 %@60 N·m", audit.LowAngle, audit.LowAngle, nil},
		"a turn without a torque":                   {bare, 58 * nm, "30 %@60 N·m", audit.Pass, audit.Pass, nil},
		"guarded limits":                            {seat, 60 * nm, "3 %@60 N·m", audit.Pass, audit.LowTorque, func(p *Pull) { p.Guard = 2 * nm }},
		"through an adapter":                        {seat, 30 * nm, "3 %@30 N·m", audit.Pass, audit.LowTorque, func(p *Pull) { p.Mark.Applied = int64(58 * nm) }},
		"the wrong way":                             {seat, 58 * nm, "3 %@60 N·m", audit.WrongDirection, audit.WrongDirection, nil},
		"an unfit wrench":                           {seat, 60 * nm, "1 %@60 N·m", audit.WrenchUnfit, audit.WrenchUnfit, nil},
		"an unfit wrench that showed too much":      {seat, 58 * nm, "3 %@60 N·m", audit.WrenchUnfit, audit.LowTorque, nil},
	} {
		a := 90 * unit.Degree
		p := Pull{Figures: c.figures, Reading: device.Reading{Torque: c.torque, Angle: &a, Direction: device.Tighten}, Mark: audit.Mark{Verdict: c.was}}
		if c.change != nil {
			c.change(&p)
		}
		if _, got := Again(p, found(t, c.found)); got != c.want {
			t.Errorf("%s: got %s, want %s", rule, got, c.want)
		}
	}
}

func TestSpan(t *testing.T) {
	day := func(n int) time.Time { return time.Date(2026, 1, n, 0, 0, 0, 0, time.UTC) }
	good := func(n int) Calibration { return Calibration{At: day(n), LeftGood: true} }
	bad := func(n int) Calibration { return Calibration{At: day(n), FoundBad: true} }
	adjusted := func(n int) Calibration { return Calibration{At: day(n), FoundBad: true, LeftGood: true} }
	for rule, c := range map[string]struct {
		all      []Calibration
		from, to time.Time
	}{
		"none was bad":                            {[]Calibration{good(1), good(5)}, day(5), time.Time{}},
		"bad, and nothing since":                  {[]Calibration{good(1), good(3), bad(5)}, day(3), time.Time{}},
		"bad, and good since":                     {[]Calibration{good(1), bad(5), good(9), good(12)}, day(1), day(9)},
		"a later one that was bad ends nothing":   {[]Calibration{good(1), bad(5), bad(7), good(9)}, day(1), day(9)},
		"bad, and put right there":                {[]Calibration{good(1), adjusted(5), good(9)}, day(1), day(5)},
		"put right, and bad again":                {[]Calibration{good(1), adjusted(5), bad(9)}, day(5), time.Time{}},
		"bad from the first":                      {[]Calibration{bad(5)}, time.Time{}, time.Time{}},
		"none":                                    {nil, time.Time{}, time.Time{}},
		"recorded late, in the order of the days": {[]Calibration{good(9), bad(5), good(1)}, day(1), day(9)},
	} {
		s, found := spanOf(c.all)
		if !s.From.Equal(c.from) || !s.To.Equal(c.to) || (found != nil) != slices.ContainsFunc(c.all, func(c Calibration) bool { return c.FoundBad }) {
			t.Errorf("%s: got %v, %v, want %v to %v", rule, s, found, c.from, c.to)
		}
		if !c.to.IsZero() && (!s.Holds(c.from) || !s.Holds(c.to) || s.Holds(c.to.Add(1)) || s.Holds(c.from.Add(-1))) {
			t.Errorf("%s: both ends belong to the span, and nothing beyond them", rule)
		}
	}
}
