package unit

import "fmt"

// The worth of each unit of length in nanometres; the inch is 25.4 mm exactly (1959).
var lengthScales = map[string]scale{
	"mm": {1_000_000, 0},
	"µm": {1_000, 0}, // micro sign
	"μm": {1_000, 0}, // Greek mu
	"um": {1_000, 0},
	"m":  {1_000_000_000, 0},
	"in": {25_400_000, 0},
}

// ParseLength reads a number with its unit: "0.05 mm", "70 µm", "1.2 m" or "0.003 in".
// What is finer than a nanometre is rounded, a half away from zero.
func ParseLength(text string) (Length, error) {
	number, u := cutNumber(text)
	s, ok := lengthScales[u]
	switch {
	case number == "":
		return 0, fmt.Errorf("read length %.60q: %w", text, errNoNumber)
	case u == "":
		return 0, fmt.Errorf("read length %.60q: the unit is missing: write one, such as mm", text)
	case !ok:
		return 0, fmt.Errorf("read length %.60q: unknown unit of length %.40q: write mm, µm, m or in", text, u)
	}
	d, err := parseDecimal(number)
	if err != nil {
		return 0, fmt.Errorf("read length: %w", err)
	}
	v, _, err := d.steps(s)
	if err != nil {
		return 0, fmt.Errorf("read length %.60q: %w", text, err)
	}
	return Length(v), nil
}

// In writes the length as a number of millimetres with so many decimals (0 to 18), a half rounded away from zero.
func (l Length) In(decimals int) string {
	return lengthScales["mm"].format(int64(l), min(max(decimals, 0), 18))
}

// String writes the length with the fewest digits that lose nothing: "0.07 mm".
func (l Length) String() string { return l.number() + " mm" }

func (l Length) number() string { return lengthScales["mm"].shortest(int64(l), 6) }
