package bench

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"unicode"

	"witnessmark/audit"
	"witnessmark/audit/procedure"
	"witnessmark/device/unit"
)

// Asked lists the fasteners of joint j that a check is asked for, or the empty one for the joint as a whole.
func Asked(j *procedure.Joint, c *procedure.Check) []string {
	if !c.EachFastener {
		return []string{""}
	}
	ids := make([]string, 0, len(j.Fasteners))
	for _, f := range j.Fasteners {
		ids = append(ids, f.ID)
	}
	return ids
}

// Accepted is true where an answer is what the check asks for: a yes, or a value inside the limits, limits included.
func Accepted(c *procedure.Check, a *audit.CheckAnswered) bool {
	switch {
	case c.Answer == procedure.LotNumber:
		return lot(a.Value) == nil
	case c.Answer == procedure.CountBolts:
		n, err := Counted(a.Value)
		return err == nil && n >= c.Bolts
	case c.Accept == nil:
		return a.Yes
	}
	v, err := measured(c.Accept, a.Value)
	return err == nil && v >= c.Accept.Low && v <= c.Accept.High
}

// understood says what is wrong with an answer to a check; nil where it can be taken, whether it is accepted or not.
func understood(c *procedure.Check, value string) (err error) {
	switch {
	case c.Answer == procedure.LotNumber:
		err = lot(value)
	case c.Answer == procedure.CountBolts:
		_, err = Counted(value)
	case c.Accept != nil:
		if _, err = measured(c.Accept, value); err != nil {
			err = fmt.Errorf("a value in %s: %w", c.Accept.Unit, err)
		}
	}
	if err != nil {
		return fmt.Errorf("check %s wants %w", c.ID, err)
	}
	return nil
}

// lot refuses what cannot be the number of a lot.
func lot(text string) error {
	const longest = 128 // as a label
	if strings.TrimSpace(text) == "" || len(text) > longest || strings.ContainsFunc(text, func(r rune) bool { return !unicode.IsPrint(r) }) {
		return fmt.Errorf("a lot number of at most %d characters: type it as it stands on the box, or scan it", longest)
	}
	return nil
}

// Counted reads a number of bolts.
func Counted(text string) (int, error) {
	n, err := strconv.Atoi(strings.TrimSpace(text))
	if err != nil || n < 0 || n > 10_000 {
		return 0, errors.New("a whole number of bolts: count them")
	}
	return n, nil
}

// measured reads the value of a check in the unit of its range.
func measured(want *procedure.Range, text string) (int64, error) {
	switch want.Unit {
	case "mm":
		v, err := unit.ParseLength(text)
		return int64(v), err
	case "N·m":
		v, _, err := unit.ParseTorque(text)
		return int64(v), err
	}
	v, err := unit.ParseAngle(text)
	return int64(v), err
}
