// Package judge says whether a reading is right for its step.
package judge

import (
	"fmt"
	"strings"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/conform"
	"witnessmark/audit/procedure"
	"witnessmark/device"
	"witnessmark/device/unit"
)

// Pull is a reading with what it takes to judge it.
type Pull struct {
	procedure.Figures
	Reading *device.Reading
	// Turned is what the fastener had turned before in the same stage (earlier tries), so that a bolt tightened in two
	// pulls is judged by both together; Total what it had turned before in all turning stages.
	Turned, Total unit.Angle
	NeedsAngle    bool        // a class A joint, where torque alone is no proof (VDI/VDE 2862, from memory)
	Guard         unit.Torque // torque limits are drawn in by so much (ILAC-G8:09/2019, 4.2.2); 0: simple acceptance
	Unfit         bool        // the procedure lets no reading of this wrench pass
}

// Verdict judges a pull.
func Verdict(p Pull) audit.Verdict {
	v := p.verdict()
	if v == audit.Pass && p.Unfit {
		return audit.WrenchUnfit
	}
	return v
}

func (p *Pull) verdict() audit.Verdict {
	if wrongWay(p.Figures, p.Reading) {
		return audit.WrongDirection
	}
	if p.Action == procedure.Verify { // no tightening: where it moves is all there is to say
		return p.torque()
	}
	if p.Action == procedure.TightenTo {
		if v := p.torque(); v != audit.Pass {
			return v
		}
		if p.Reading.Angle == nil && (p.NeedsAngle || p.Angles.Set) {
			return audit.NoAngle
		}
		return angle(p.Angles, p.Reading.Angle, p.Turned)
	}
	if p.Reading.Angle == nil {
		return audit.NoAngle
	}
	if v := angle(p.Angles, p.Reading.Angle, p.Turned); v != audit.Pass {
		return v
	}
	if v := angle(p.Figures.Total, p.Reading.Angle, p.Total); v != audit.Pass {
		return v
	}
	return p.torque()
}

func wrongWay(f procedure.Figures, r *device.Reading) bool {
	return (f.Action == procedure.LoosenBy) != (r.Direction == device.Loosen)
}

func (p *Pull) torque() audit.Verdict {
	switch t := p.Reading.Torque; {
	case p.Torques.Set && t < p.Torques.Low+p.Guard:
		return audit.LowTorque
	case p.Torques.Set && t > p.Torques.High-p.Guard:
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

// WrenchFlags are the flags that a reading earns by the wrench that took it at the instant at, as its pulls-th reading since
// its calibration. A wrench of which no calibration or range was declared earns none: what is not known is shown as
// unknown, not as a finding.
func WrenchFlags(w audit.WrenchDeclared, r *device.Reading, at time.Time, pulls int64) []string {
	var flags []string
	if Uncalibrated(w, at, pulls) != "" {
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

// Uncalibrated says in a sentence why a wrench is out of calibration at the instant at, as of its pulls-th reading since its
// calibration: by what it deviates, by date or by readings, whichever comes first. Empty: it is not, as far as is known.
func Uncalibrated(w audit.WrenchDeclared, at time.Time, pulls int64) string {
	switch d := max(w.Deviation, -w.Deviation); {
	case w.Permissible > 0 && d > w.Permissible:
		return fmt.Sprintf("its certificate says that it deviates by %s %%, and its class permits %s %%: have it adjusted and calibrated",
			percent(w.Deviation), percent(w.Permissible))
	case w.Due != nil && at.After(*w.Due):
		return fmt.Sprintf("its calibration ended on %s: have it calibrated", w.Due.UTC().Format(time.DateOnly))
	case w.Cycles > 0 && pulls > w.Cycles:
		return fmt.Sprintf("it has taken the %d readings after which it is to be calibrated: have it calibrated", w.Cycles)
	}
	return ""
}

// percent writes millionths as percent with the fewest digits.
func percent(millionths int64) string {
	sign := ""
	if millionths < 0 {
		sign, millionths = "-", -millionths
	}
	digits := strings.TrimRight(fmt.Sprintf("%d.%04d", millionths/10_000, millionths%10_000), "0")
	return sign + strings.TrimSuffix(digits, ".")
}

// Uncertain is the half-width within which the true torque lies when the wrench shows t: |deviation| + U, the interval of
// ISO 6789-2:2017 (from memory) without the part of the laboratory's own device; false: the certificate's figures were
// not declared.
func Uncertain(w audit.WrenchDeclared, t unit.Torque) (unit.Torque, bool) {
	if w.Uncertainty <= 0 {
		return 0, false
	}
	share := w.Uncertainty + max(w.Deviation, -w.Deviation)
	return unit.Torque(int64(t) / 1000 * share / 1000), true
}

// Conformity is the probability in millionths that the true torque lies inside the window (JCGM 106:2012), and whether a
// torque inside it is nearer to a limit than half is uncertain (ILAC-G8:09/2019, conditional pass).
func Conformity(w procedure.TorqueWindow, t, half unit.Torque) (probability int64, conditional bool) {
	limits := conform.Between(int64(w.Low), int64(w.High))
	return int64(conform.Probability(int64(t), int64(half), limits)), conform.Guard(int64(t), int64(half), limits) == conform.ConditionalPass
}
