// Package recall judges readings anew after a wrench was found to have shown something else than it should.
package recall

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"witnessmark/device/unit"
)

// Point is a deviation found at a torque, in millionths of the true torque: above 0 the wrench showed too much.
type Point struct {
	At        unit.Torque
	Deviation int64
}

// AsFound is what a calibration found, in the order of the torques. It is never empty.
type AsFound []Point

const (
	whole        = 1_000_000
	mostPoints   = 50
	mostPercent  = 50 // a wrench further off shows nothing that can be corrected
	leastDecimal = 4  // decimals of a percentage that are kept
)

// Parse reads deviations such as "2.5 %@40 N·m, -3 %@200 N·m".
func Parse(text string) (AsFound, error) {
	var out AsFound
	for _, part := range strings.Split(text, ",") {
		p, err := parsePoint(part)
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	if len(out) > mostPoints {
		return nil, fmt.Errorf("found %d points, expected %d at most", len(out), mostPoints)
	}
	slices.SortFunc(out, func(a, b Point) int { return cmp.Compare(a.At, b.At) })
	for i := 1; i < len(out); i++ {
		if out[i].At == out[i-1].At {
			return nil, fmt.Errorf("found two deviations at %s, expected one", out[i].At)
		}
	}
	return out, nil
}

func parsePoint(text string) (Point, error) {
	share, at, ok := strings.Cut(text, "@")
	if !ok {
		return Point{}, fmt.Errorf("found %.60q, expected a deviation at a torque, such as 2.5 %%@40 N·m", strings.TrimSpace(text))
	}
	d, err := percent(share)
	if err != nil {
		return Point{}, err
	}
	t, _, err := unit.ParseTorque(strings.TrimSpace(at))
	if err != nil {
		return Point{}, fmt.Errorf("the torque of a deviation: %w", err)
	}
	if t <= 0 {
		return Point{}, errors.New("a deviation is found at a torque above 0")
	}
	return Point{t, d}, nil
}

// percent reads a percentage without a float.
func percent(text string) (int64, error) {
	wrong := fmt.Errorf("found %.60q, expected a percentage of %d at most with %d decimals, such as -2.5 %%", strings.TrimSpace(text), mostPercent, leastDecimal)
	number, ok := strings.CutSuffix(strings.TrimSpace(text), "%")
	if !ok {
		return 0, wrong
	}
	number = strings.TrimSpace(number)
	negative := strings.HasPrefix(number, "-")
	number = strings.TrimPrefix(strings.TrimPrefix(number, "+"), "-")
	before, after, _ := strings.Cut(number, ".")
	if len(after) > leastDecimal || strings.Trim(before+after, "0123456789") != "" || before == "" {
		return 0, wrong
	}
	v, err := strconv.ParseInt(before+after+strings.Repeat("0", leastDecimal-len(after)), 10, 64)
	if err != nil || v > mostPercent*whole/100 {
		return 0, wrong
	}
	if negative {
		v = -v
	}
	return v, nil
}

// String is the one way in which the same findings are written.
func (f AsFound) String() string {
	parts := make([]string, len(f))
	for i, p := range f {
		sign, v := "", p.Deviation
		if v < 0 {
			sign, v = "-", -v
		}
		number := strings.TrimRight(strings.TrimRight(fmt.Sprintf("%d.%04d", v/10_000, v%10_000), "0"), ".")
		parts[i] = sign + number + " %@" + p.At.String()
	}
	return strings.Join(parts, ", ")
}

// At is the deviation at a torque as shown: linear between the points, and beyond them that of the last one.
func (f AsFound) At(shown unit.Torque) int64 {
	i, _ := slices.BinarySearchFunc(f, shown, func(p Point, t unit.Torque) int { return cmp.Compare(p.At, t) })
	switch {
	case i == 0:
		return f[0].Deviation
	case i == len(f):
		return f[i-1].Deviation
	}
	a, b := f[i-1], f[i]
	return a.Deviation + divide(int64(shown-a.At)*(b.Deviation-a.Deviation), int64(b.At-a.At))
}

// True is the torque that a fastener got when the wrench showed another one, through an adapter too: got is what it was
// taken to be at the fastener, shown what stood on the wrench.
func (f AsFound) True(got, shown unit.Torque) unit.Torque {
	return unit.Torque(divide(int64(got)*whole, whole+f.At(shown)))
}

// divide rounds to the nearest, halves away from zero. The divisor is above 0.
func divide(a, b int64) int64 {
	if a < 0 {
		return -divide(-a, b)
	}
	return (a + b/2) / b
}
