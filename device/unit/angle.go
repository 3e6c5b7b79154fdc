package unit

import (
	"fmt"
	"strings"
)

var angleScale = scale{uint64(Degree), 0}

// ParseAngle reads an angle in degrees: "90°", "90 deg", "90 degrees" or the bare "90".
// What is finer than a milli-degree is rounded.
func ParseAngle(text string) (Angle, error) {
	number, u := cutNumber(text)
	switch u {
	case "", "°", "º", "deg", "degree", "degrees":
		return AngleOf(number)
	}
	if number == "" {
		return 0, fmt.Errorf("read angle %.60q: %w", text, errNoNumber)
	}
	return 0, fmt.Errorf("read angle %.60q: unknown unit of angle %.40q: write degrees, as in 90°", text, u)
}

// AngleOf is the angle of a decimal number of degrees, rounded to a milli-degree, a half away from zero.
func AngleOf(number string) (Angle, error) {
	d, err := parseDecimal(number)
	if err != nil {
		return 0, fmt.Errorf("read angle: %w", err)
	}
	v, _, err := d.steps(angleScale)
	if err != nil {
		return 0, fmt.Errorf("read angle %.60q: %w", strings.Clone(number), err)
	}
	return Angle(v), nil
}

// In writes the angle as a number of degrees with so many decimals (0 to 18), a half rounded away from zero.
func (a Angle) In(decimals int) string {
	return angleScale.format(int64(a), min(max(decimals, 0), 18))
}

// String writes the angle with the fewest digits that lose nothing: "31°".
func (a Angle) String() string { return a.number() + "°" }

func (a Angle) number() string { return angleScale.shortest(int64(a), 3) }
