package procedure

import (
	"cmp"
	"strings"

	"witnessmark/device/unit"
)

// Target says in words what to do, for the person with the wrench: "60 N·m (57 … 63 N·m)", "turn 90° (85 … 95°)",
// "back off 90° (75 … 105°)" or "find where it moves (57 … 70 N·m)". Torques are in the unit of the procedure.
func (f Figures) Target() string {
	switch f.Action {
	case TightenTo:
		u := cmp.Or(f.Unit, unit.Nm)
		target := number(f.Torque, u) + " " + string(u)
		if !f.Torques.Set {
			return target
		}
		return target + " (" + number(f.Torques.Low, u) + " … " + number(f.Torques.High, u) + " " + string(u) + ")"
	case LoosenBy:
		return "back off " + f.turn()
	case Verify:
		u := cmp.Or(f.Unit, unit.Nm)
		return "find where it moves (" + number(f.Torques.Low, u) + " … " + number(f.Torques.High, u) + " " + string(u) + ")"
	}
	return "turn " + f.turn()
}

func (f Figures) turn() string {
	if !f.Angles.Set {
		return f.Angle.String()
	}
	return f.Angle.String() + " (" + between(f.Angles.Low.String(), f.Angles.High.String(), "°") + ")"
}

// number writes a torque with at most three decimals: a wrench shows no more.
func number(t unit.Torque, u unit.TorqueUnit) string {
	return strings.TrimSuffix(strings.TrimRight(t.In(u, 3), "0"), ".")
}

// String writes the range with its unit behind the second limit: "0.07 … 0.23 mm".
func (r Range) String() string {
	write := lengths.write
	switch r.Unit {
	case string(unit.Nm):
		write = torques.write
	case "°":
		write = angles.write
	}
	return between(write(r.Low), write(r.High), r.Unit)
}

func between(low, high, unit string) string {
	return strings.TrimSpace(strings.TrimSuffix(low, unit)) + " … " + high
}
