package bolt

import (
	"strings"

	"witnessmark/device/unit"
)

// Friction is a range of the coefficient of friction in thread and under head, in thousandths.
type Friction struct{ Low, High int64 }

// FrictionOf is the range that VDI 2230 part 1 gives for a state of lubrication (classes A to E of its table A5, as
// reproduced by several makers of bolts); it is told by its first word, and an unknown state is
// anything that is common on an engine.
func FrictionOf(lubrication string) Friction {
	for _, state := range []struct {
		begins string
		Friction
	}{
		{"waxed", Friction{40, 100}}, {"solid lubricant", Friction{40, 100}},
		{"oiled", Friction{80, 160}}, {"greased", Friction{80, 160}},
		{"dry", Friction{140, 240}}, {"none", Friction{140, 240}},
	} {
		if strings.HasPrefix(lubrication, state.begins) {
			return state.Friction
		}
	}
	return Friction{80, 240}
}

// Force is an interval of force in N.
type Force struct{ Low, High int64 }

// FromTorque is the preload behind a tightening torque on a hexagon or socket head (VDI 2230 part 1):
//
//	F = M / (0.16·P + 0.58·d2·µ + (D_Km/2)·µ)
func (t Thread) FromTorque(torque unit.Torque, f Friction) Force {
	return Force{t.force(torque, f.High), t.force(torque, f.Low)}
}

func (t Thread) force(torque unit.Torque, friction int64) int64 {
	return int64(torque) * 1000 / max(t.arm(friction), 1)
}

// arm is the torque per preload in nm.
func (t Thread) arm(friction int64) int64 {
	return int64(t.Pitch)*16/100 + int64(t.PitchDiameter())*58/100*friction/1000 + t.bearing()/2*friction/1000
}

// bearing is D_Km in nm, the mean diameter of friction under the head: (d_w + d_h)/2 of hexagon heads (ISO 4014, d_w at least)
// over medium holes (ISO 273), from memory; of other diameters the 1.3·d that these come to.
func (t Thread) bearing() int64 {
	switch t.Diameter / 1_000_000 {
	case 6:
		return 7_740_000
	case 8:
		return 10_315_000
	case 10:
		return 12_815_000
	case 12:
		return 15_065_000
	case 14:
		return 17_570_000
	case 16:
		return 19_995_000
	}
	return int64(t.Diameter) * 13 / 10
}

// FromAngle is the preload that an elastic turn adds (VDI 2230 part 1): ΔF = θ/360° · P / (δ_S + δ_P). The resilience of
// the bolt is that of its stress area over the length; the parts that it clamps are between a tenth and a half as
// resilient as the bolt. Beyond the yield point it is less.
func (t Thread) FromAngle(turn unit.Angle, length unit.Length) Force {
	if length <= 0 {
		return Force{}
	}
	// N = m°/360000 · nm · E·A/length, with E = 205 000 N/mm² and A in µm² (10⁻⁶ mm²).
	rigid := int64(turn) * (int64(t.Pitch) / 1000) / 360 * (t.StressArea() / 1000 * 205) / int64(length)
	return Force{rigid * 10 / 15, rigid * 10 / 11}
}

// TurnRate is the turn per torque of a bolt in its joint, in µ° per N·m, from geometry alone: what a matching may expect
// before it has seen a pull. Friction and the parts make it right within a factor of two.
func (t Thread) TurnRate(length unit.Length, f Friction) int64 {
	const turn = 10 * unit.Degree
	force := t.FromAngle(turn, length)
	middle := (force.Low + force.High) / 2
	friction := (f.Low + f.High) / 2
	torque := middle * t.arm(friction) / 1000 // µN·m
	if torque <= 0 {
		return 0
	}
	return int64(turn) * 1_000_000_000 / torque
}
