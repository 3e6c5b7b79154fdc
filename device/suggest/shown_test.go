package suggest

import (
	"fmt"
	"strings"
	"testing"

	"witnessmark/device"
	"witnessmark/device/unit"
)

func TestParseShown(t *testing.T) {
	for text, want := range map[string]string{
		"45.2 N·m":                      "45.2 N·m -  ",
		"45,2 Nm":                       "45.2 N·m -  ",
		"45.2Nm, 31°":                   "45.2 N·m 31  ",
		"45,2 Nm; 31,5 deg":             "45.2 N·m 31.5  ",
		"45.2 Nm 31.50 degrees":         "45.2 N·m 31.50  ",
		" 22 lbf·ft,  90° , loosening ": "22 lbf·ft 90 loosen ",
		"22 ft-lb loosening":            "22 lbf·ft - loosen ",
		"-45.2 N·m, -31°":               "45.2 N·m 31 loosen ",
		"−45.2 N·m":                     "45.2 N·m - loosen ",
		"-45.2 N·m, left":               "45.2 N·m - loosen ",
		"+45.2 N·m, CW":                 "45.2 N·m - tighten ",
		"0 N·m, 0°":                     "0 N·m 0  ",
	} {
		t.Run(text, func(t *testing.T) {
			s, err := ParseShown(text)
			angle := "-"
			if s.Angle != nil {
				angle = s.Angle.number
			}
			if got := fmt.Sprintf("%s %s %s %s ", s.Torque.number, s.Unit, angle, s.Direction); err != nil || got != want {
				t.Errorf("got %q, %v, want %q", got, err, want)
			}
		})
	}
	for text, want := range map[string]string{
		"":                          "write what the display showed",
		"45.2":                      "write what the display showed",
		"N·m":                       "write what the display showed",
		"45.2 stone":                "unknown unit of torque",
		"45.2 N·m, sideways":        "expected tightening or loosening",
		"-45.2 N·m, tightening":     "found a minus and tightening",
		"99999999999999999999 N·m":  "too large",
		"45.2 N·m, 31":              "write what the display showed",
		"45.2 N·m, 31°, loose, now": "write what the display showed",
	} {
		t.Run("wrong "+text, func(t *testing.T) {
			if s, err := ParseShown(text); err == nil || !strings.Contains(err.Error(), want) {
				t.Errorf("got %+v, %v, want %q", s, err, want)
			}
		})
	}
}

func TestShown_Fits(t *testing.T) {
	for name, c := range map[string]struct {
		shown, torque string
		fits, exact   bool
	}{
		"the same number":                    {"45.2 N·m", "45.2", true, true},
		"one that the display rounds":        {"45.2 N·m", "45.24", true, false},
		"one that it rounds up":              {"45.2 N·m", "45.15", true, false},
		"one that it rounds to the next":     {"45.2 N·m", "45.25", false, false},
		"one that loosens":                   {"45.2 N·m, loosening", "-45.2", true, true},
		"leading noughts on the display":     {"045.2 N·m", "45.2", true, true},
		"less than one":                      {"0.5 N·m", "0.5", true, true},
		"a whole number":                     {"45 N·m", "45.4", true, false},
		"a whole number that is one":         {"45 N·m", "45", true, true},
		"another unit of the same magnitude": {"33.3 lbf·ft", "45.2", true, false},
	} {
		t.Run(name, func(t *testing.T) {
			v, err := unit.TorqueIn(c.torque, unit.Nm)
			if err != nil {
				t.Fatal(err)
			}
			fits, exact := displayed(t, c.shown)[0].torqueFits(v)
			if fits != c.fits || exact != c.exact {
				t.Errorf("got %t and %t, want %t and %t", fits, exact, c.fits, c.exact)
			}
		})
	}
	t.Run("a reading without an angle is not one with", func(t *testing.T) {
		v, _ := unit.TorqueIn("45.2", unit.Nm)
		if displayed(t, "45.2 N·m, 31°")[0].readingFits(&device.Reading{Torque: v, Direction: device.Tighten}) {
			t.Error("got a fit, want none")
		}
	})
}
