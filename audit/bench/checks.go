package bench

import (
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
	if c.Accept == nil {
		return a.Yes
	}
	v, err := measured(c.Accept, a.Value)
	return err == nil && v >= c.Accept.Low && v <= c.Accept.High
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
