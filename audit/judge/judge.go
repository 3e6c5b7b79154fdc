// Package judge says whether a reading is right for its step.
package judge

import (
	"time"

	"witnessmark/audit"
	"witnessmark/audit/procedure"
	"witnessmark/device"
	"witnessmark/device/unit"
)

// Verdict judges reading r against figures f. turned is what the fastener had turned before in the same stage (earlier
// tries), so that a bolt tightened in two pulls is judged by both together. needsAngle is true for a class A joint,
// where torque alone is no proof (VDI/VDE 2862, from memory).
func Verdict(f procedure.Figures, r *device.Reading, turned unit.Angle, needsAngle bool) audit.Verdict {
	if wrongWay(f, r) {
		return audit.WrongDirection
	}
	if f.Action == procedure.Verify { // no tightening: where it moves is all there is to say
		return torque(f.Torques, r.Torque)
	}
	if f.Action == procedure.TightenTo {
		if v := torque(f.Torques, r.Torque); v != audit.Pass {
			return v
		}
		if r.Angle == nil && (needsAngle || f.Angles.Set) {
			return audit.NoAngle
		}
		return angle(f.Angles, r.Angle, turned)
	}
	if r.Angle == nil {
		return audit.NoAngle
	}
	if v := angle(f.Angles, r.Angle, turned); v != audit.Pass {
		return v
	}
	return torque(f.Torques, r.Torque)
}

func wrongWay(f procedure.Figures, r *device.Reading) bool {
	return (f.Action == procedure.LoosenBy) != (r.Direction == device.Loosen)
}

func torque(w procedure.TorqueWindow, t unit.Torque) audit.Verdict {
	switch {
	case w.Set && t < w.Low:
		return audit.LowTorque
	case w.Set && t > w.High:
		return audit.HighTorque
	}
	return audit.Pass
}

func angle(w procedure.AngleWindow, a *unit.Angle, turned unit.Angle) audit.Verdict {
	switch {
	case !w.Set || a == nil:
		return audit.Pass
	case *a+turned < w.Low:
		return audit.LowAngle
	case *a+turned > w.High:
		return audit.HighAngle
	}
	return audit.Pass
}

// WrenchFlags are the flags that a reading earns by the wrench that took it at the instant at. A wrench of which no
// calibration or range was declared earns none: what is not known is shown as unknown, not as a finding.
func WrenchFlags(w audit.WrenchDeclared, r *device.Reading, at time.Time) []string {
	var flags []string
	if w.Due != nil && at.After(*w.Due) {
		flags = append(flags, audit.OutOfCalibration)
	}
	ranged := w.RangeLow != 0 || w.RangeHigh != 0
	if ranged && (int64(r.Torque) < w.RangeLow || int64(r.Torque) > w.RangeHigh) {
		flags = append(flags, audit.OutOfRange)
	}
	if r.Stored {
		flags = append(flags, audit.Resent)
	}
	if r.Repeat {
		flags = append(flags, audit.PossibleRepeat)
	}
	return flags
}
