package procedure

import (
	"errors"
	"math/big"
	"strings"

	"witnessmark/device/strictyaml"
	"witnessmark/device/unit"
)

// quantity is a kind of measured value as procedure files write it, in the steps of its integer.
type quantity struct {
	name     string
	example  string
	low      int64 // the least and the most that can be meant
	high     int64
	parse    func(text string) (int64, error)
	write    func(int64) string
	ranged   string // an example of a range
	tolerant string // an example of a tolerance
}

var (
	torques = quantity{
		name: "torque", example: "60 N·m", ranged: "57..63 N·m", tolerant: "±5 % or ±3 N·m",
		low: 0, high: int64(100_000 * unit.NewtonMetre),
		parse: func(s string) (int64, error) { t, _, err := unit.ParseTorque(s); return int64(t), err },
		write: func(v int64) string { return unit.Torque(v).String() },
	}
	angles = quantity{
		name: "angle", example: "90°", ranged: "85..95°", tolerant: "±5 % or ±5°",
		low: 0, high: int64(36_000 * unit.Degree),
		parse: func(s string) (int64, error) { a, err := unit.ParseAngle(s); return int64(a), err },
		write: func(v int64) string { return unit.Angle(v).String() },
	}
	lengths = quantity{
		name: "length", example: "95 mm", ranged: "0.07..0.23 mm",
		low: -int64(100_000 * unit.Millimetre), high: int64(100_000 * unit.Millimetre),
		parse: func(s string) (int64, error) { l, err := unit.ParseLength(s); return int64(l), err },
		write: func(v int64) string { return unit.Length(v).String() },
	}
)

// value reads one value with its unit. The error says what was expected instead.
func (q *quantity) value(text string) (int64, error) {
	if text != "" && unitOf(text) == "" {
		return 0, errors.New("the unit is missing")
	}
	v, err := q.parse(text)
	switch {
	case err != nil:
		return 0, reason(err)
	case v < q.low:
		return 0, errors.New("less than " + q.write(q.low))
	case v > q.high:
		return 0, errors.New("more than " + q.write(q.high))
	}
	return v, nil
}

// reason drops the name of the operation from an error of the unit package: the fault says it in its own words.
func reason(err error) error {
	if inner := errors.Unwrap(err); inner != nil {
		return inner
	}
	return err
}

// target reads the value that a stage aims at; zero is none.
func (q *quantity) target(n strictyaml.Node) (int64, bool) {
	s, ok := n.Text()
	if !ok {
		return 0, false
	}
	v, err := q.value(s)
	if err == nil && v == 0 {
		err = errors.New("nothing to aim at")
	}
	if err != nil {
		n.Faultf("found %s, expected one %s such as %s: %v", quote(s), q.name, q.example, err)
		return 0, false
	}
	return v, true
}

// window is an interval in the steps of a quantity, limits included.
type window struct{ low, high int64 }

// within reads a range such as 57..63 N·m; the unit may stand behind the second number alone.
func (q *quantity) within(n strictyaml.Node) (window, bool) {
	s, ok := n.Text()
	if !ok {
		return window{}, false
	}
	w, err := q.between(s)
	if err != nil {
		n.Faultf("found %s, expected a range of %s such as %s: %v", quote(s), q.name, q.ranged, err)
		return window{}, false
	}
	return w, true
}

func (q *quantity) between(text string) (window, error) {
	first, second, ok := strings.Cut(text, "..")
	if !ok {
		return window{}, errors.New("two limits with .. between them are wanted")
	}
	if unitOf(first) == "" {
		first += " " + unitOf(second)
	}
	low, err := q.value(strings.TrimSpace(first))
	if err != nil {
		return window{}, err
	}
	high, err := q.value(strings.TrimSpace(second))
	if err != nil {
		return window{}, err
	}
	if low > high {
		return window{}, errors.New("the first limit is above the second")
	}
	return window{low, high}, nil
}

// around reads what is accepted of a target: a range, or a tolerance such as ±5 % or ±3 N·m (also written +/-).
func (q *quantity) around(n strictyaml.Node, target int64) (window, bool) {
	s, ok := n.Text()
	if !ok {
		return window{}, false
	}
	w, err := q.accepted(s, target)
	if err != nil {
		n.Faultf("found %s, expected a range of %s such as %s, or a tolerance such as %s: %v", quote(s), q.name, q.ranged, q.tolerant, err)
		return window{}, false
	}
	return w, true
}

func (q *quantity) accepted(text string, target int64) (window, error) {
	by, ok := strings.CutPrefix(text, "±")
	if !ok {
		by, ok = strings.CutPrefix(text, "+/-")
	}
	if !ok {
		return q.between(text)
	}
	half, err := q.half(strings.TrimSpace(by), target)
	switch {
	case err != nil:
		return window{}, err
	case half <= 0:
		return window{}, errors.New("the tolerance leaves no room")
	case half > target:
		return window{}, errors.New("the tolerance is larger than the target " + q.write(target))
	}
	return window{target - half, target + half}, nil
}

// half is the half width of a tolerance; a share of the target is rounded to a step, a half step up.
func (q *quantity) half(text string, target int64) (int64, error) {
	number, relative := strings.CutSuffix(text, "%")
	if !relative {
		return q.value(text)
	}
	number = strings.TrimSpace(number)
	percent, ok := new(big.Rat).SetString(number)
	if !ok || len(number) > 12 || strings.Trim(number, "0123456789.") != "" {
		return 0, errors.New("the share is no plain number")
	}
	// Half a step is added, and the floor of it all taken.
	part := percent.Mul(percent, big.NewRat(target, 100))
	part.Add(part, big.NewRat(1, 2))
	whole := new(big.Int).Div(part.Num(), part.Denom())
	if !whole.IsInt64() {
		return 0, errors.New("the share is too large")
	}
	return whole.Int64(), nil
}

// unitOf is what follows the number: "N·m" of "60 N·m".
func unitOf(text string) string {
	return strings.TrimSpace(strings.TrimLeft(text, "0123456789.,+- "))
}

func boltLength(n strictyaml.Node) unit.Length {
	v, _ := lengths.target(n)
	if v < 0 {
		n.Faultf("found a length below zero, expected one such as %s", lengths.example)
	}
	return unit.Length(v)
}

// coordinate reads a number of millimetres, or a length with its unit.
func coordinate(n strictyaml.Node) (unit.Length, bool) {
	s, ok := n.Text()
	if !ok {
		return 0, false
	}
	text := s
	if unitOf(s) == "" {
		text += " mm"
	}
	v, err := lengths.value(text)
	if err != nil {
		n.Faultf("found %s, expected a coordinate in millimetres such as 80: %v", quote(s), err)
	}
	return unit.Length(v), err == nil
}
