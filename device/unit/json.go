package unit

import (
	"encoding/json"
	"fmt"
)

// In JSON a quantity is a string of decimal digits in N·m, degrees or millimetres: a number would pass through a
// float in most readers, and the ledger's leaves must be the same bytes for ever.

// MarshalJSON writes the N·m with the fewest digits that lose nothing: "45.2".
func (t Torque) MarshalJSON() ([]byte, error) { return quoted(t.number()), nil }

// UnmarshalJSON is the inverse of MarshalJSON; what is finer than 1 µN·m is refused.
func (t *Torque) UnmarshalJSON(text []byte) error {
	return unquote(text, torqueScales[Nm], "torque", (*int64)(t))
}

// MarshalJSON writes the degrees with the fewest digits that lose nothing: "31".
func (a Angle) MarshalJSON() ([]byte, error) { return quoted(a.number()), nil }

// UnmarshalJSON is the inverse of MarshalJSON; what is finer than a milli-degree is refused.
func (a *Angle) UnmarshalJSON(text []byte) error {
	return unquote(text, angleScale, "angle", (*int64)(a))
}

// MarshalJSON writes the millimetres with the fewest digits that lose nothing: "0.07".
func (l Length) MarshalJSON() ([]byte, error) { return quoted(l.number()), nil }

// UnmarshalJSON is the inverse of MarshalJSON; what is finer than a nanometre is refused.
func (l *Length) UnmarshalJSON(text []byte) error {
	return unquote(text, lengthScales["mm"], "length", (*int64)(l))
}

func quoted(number string) []byte { return []byte(`"` + number + `"`) }

func unquote(text []byte, s scale, what string, into *int64) error {
	if len(text) == 0 || text[0] != '"' {
		return fmt.Errorf("read %s: %.40s is not a decimal number in quotes", what, text)
	}
	var number string
	if err := json.Unmarshal(text, &number); err != nil {
		return fmt.Errorf("read %s: %w", what, err)
	}
	d, err := parseDecimal(number)
	if err != nil {
		return fmt.Errorf("read %s: %w", what, err)
	}
	v, exact, err := d.steps(s)
	switch {
	case err != nil:
		return fmt.Errorf("read %s %.60q: %w", what, number, err)
	case !exact:
		return fmt.Errorf("read %s %.60q: finer than is kept", what, number)
	}
	*into = v
	return nil
}
