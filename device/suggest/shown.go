package suggest

import (
	"errors"
	"fmt"
	"regexp"
	"strings"

	"witnessmark/device"
	"witnessmark/device/unit"
)

// Shown is what the wrench's display showed of one pull, as a person wrote it down.
type Shown struct {
	Text      string           // as it was written
	Torque    quantity         // without a sign
	Unit      unit.TorqueUnit  //
	Angle     *quantity        // without a sign; nil: not written down
	Direction device.Direction // empty: not written down
}

// quantity is a number as a display shows it: what the wrench sends may have more digits.
type quantity struct {
	number string // digits with at most one point
	places int    // digits after the point
	value  int64  // in the steps of unit.Torque or unit.Angle
	step   int64  // the worth of its last digit
}

// near says whether a value can be what was shown at all: what is near is looked at closely.
func (q quantity) near(value int64) bool {
	return max(value-q.value, q.value-value) <= q.step
}

// lastDigit is one in the last place of a number.
func (q quantity) lastDigit() string {
	if q.places == 0 {
		return "1"
	}
	return "0." + strings.Repeat("0", q.places-1) + "1"
}

func quantityOf(text string) quantity {
	number := strings.TrimLeft(strings.Replace(text, ",", ".", 1), "+-")
	_, fraction, _ := strings.Cut(number, ".")
	return quantity{number: number, places: len(fraction)}
}

// shownForm is "45.2 N·m", "45,2 Nm 31°", "-45.2 N·m, 31 deg, loosening": a decimal comma stands between digits.
var shownForm = regexp.MustCompile(`^([-+−]?[0-9]+(?:[.,][0-9]+)?)\s*([^0-9+,;−][^0-9,;]*?)\s*` +
	`(?:[,; ]\s*([-+−]?[0-9]+(?:[.,][0-9]+)?)\s*(?:°|º|degrees|degree|deg)\s*)?(?:[,; ]\s*([A-Za-z]+))?$`)

// directions are the words by which people tell a direction.
var directions = map[string]device.Direction{
	"tighten": device.Tighten, "tightening": device.Tighten, "tightened": device.Tighten, "tight": device.Tighten,
	"right": device.Tighten, "clockwise": device.Tighten, "cw": device.Tighten,
	"loosen": device.Loosen, "loosening": device.Loosen, "loosened": device.Loosen, "loose": device.Loosen,
	"left": device.Loosen, "anticlockwise": device.Loosen, "counterclockwise": device.Loosen, "ccw": device.Loosen,
}

var errShown = errors.New(`write what the display showed as torque with its unit, then the angle and the direction if it showed them, ` +
	`such as "45.2 N·m, 31°" or "45.2 N·m, 31°, loosening"`)

// ParseShown reads what a display showed. The decimal sign is a point or a comma; a minus says that it loosened.
func ParseShown(text string) (Shown, error) {
	m := shownForm.FindStringSubmatch(strings.TrimSpace(text))
	if m == nil {
		return Shown{}, fmt.Errorf("read shown value %.60q: %w", text, errShown)
	}
	u, err := unit.ParseTorqueUnit(m[2])
	if err != nil {
		return Shown{}, fmt.Errorf("read shown value %.60q: %w", text, err)
	}
	s := Shown{Text: strings.TrimSpace(text), Torque: quantityOf(strings.Replace(m[1], "−", "-", 1)), Unit: u}
	if err := s.Torque.measure(func(number string) (int64, error) { v, err := unit.TorqueIn(number, u); return int64(v), err }); err != nil {
		return Shown{}, fmt.Errorf("read shown value %.60q: %w", text, err)
	}
	if m[3] != "" {
		a := quantityOf(strings.Replace(m[3], "−", "-", 1))
		if err := a.measure(func(number string) (int64, error) { v, err := unit.AngleOf(number); return int64(v), err }); err != nil {
			return Shown{}, fmt.Errorf("read shown value %.60q: %w", text, err)
		}
		s.Angle = &a
	}
	if m[4] != "" {
		way, known := directions[strings.ToLower(m[4])]
		if !known {
			return Shown{}, fmt.Errorf("read shown value %.60q: found %.20q, expected tightening or loosening", text, m[4])
		}
		s.Direction = way
	}
	if strings.ContainsAny(m[1], "-−") {
		if s.Direction == device.Tighten {
			return Shown{}, fmt.Errorf("read shown value %.60q: found a minus and tightening, expected one of them", text)
		}
		s.Direction = device.Loosen
	}
	return s, nil
}

// measure sets the value and the worth of the last digit.
func (q *quantity) measure(of func(number string) (int64, error)) (err error) {
	if q.value, err = of(q.number); err != nil {
		return err
	}
	q.step, err = of(q.lastDigit())
	return err
}

// torqueFits says whether a torque is what was shown; exact, that nothing had to be rounded for it.
func (s Shown) torqueFits(t unit.Torque) (fits, exact bool) {
	t = max(t, -t)
	if !s.Torque.near(int64(t)) {
		return false, false
	}
	return same(t.In(s.Unit, s.Torque.places), s.Torque.number), same(t.In(s.Unit, s.Torque.places+3), s.Torque.number+pad(s.Torque, 3))
}

func (s Shown) angleFits(a unit.Angle) (fits, exact bool) {
	a = max(a, -a)
	if !s.Angle.near(int64(a)) {
		return false, false
	}
	return same(a.In(s.Angle.places), s.Angle.number), same(a.In(s.Angle.places+3), s.Angle.number+pad(*s.Angle, 3))
}

// pad is what follows the digits of a number when it gets n more places.
func pad(q quantity, n int) string {
	zeros := strings.Repeat("0", n)
	if q.places == 0 {
		return "." + zeros
	}
	return zeros
}

// same compares two numbers with the same places: a display may show leading noughts.
func same(a, b string) bool {
	return strings.TrimLeft(a, "0") == strings.TrimLeft(b, "0")
}

// readingFits says whether a decoded reading is what was shown.
func (s Shown) readingFits(r *device.Reading) bool {
	if fits, _ := s.torqueFits(r.Torque); !fits {
		return false
	}
	if s.Angle != nil {
		if r.Angle == nil {
			return false
		}
		if fits, _ := s.angleFits(*r.Angle); !fits {
			return false
		}
	}
	return s.Direction == "" || s.Direction == r.Direction
}
