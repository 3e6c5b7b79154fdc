package recall

import (
	"witnessmark/audit"
	"witnessmark/audit/judge"
	"witnessmark/audit/procedure"
	"witnessmark/device"
	"witnessmark/device/unit"
)

// Pull is a reading with the mark that is in force of it, and what its step asks for.
type Pull struct {
	Figures procedure.Figures
	Reading device.Reading
	Mark    audit.Mark
	Guard   unit.Torque // see judge.Pull
}

// Again is the torque that the fastener got if the wrench was as it was found, and the verdict that follows. Only the torque
// is judged anew: an angle that passed passes still, and one that did not does not.
func Again(p Pull, f AsFound) (unit.Torque, audit.Verdict) {
	got := p.Reading.Torque
	if p.Mark.Applied != 0 {
		got = unit.Torque(p.Mark.Applied)
	}
	r := p.Reading
	r.Torque = f.True(got, p.Reading.Torque)
	was := p.Mark.Verdict
	if was == audit.NotJudged || was == audit.WrongDirection {
		return r.Torque, was
	}
	if torque := onlyTorque(p, r); torque != audit.Pass {
		if p.Figures.Action == procedure.TurnBy && byAngle(was) || p.Figures.Action == procedure.LoosenBy && byAngle(was) {
			return r.Torque, was // the angle is what such a stage is judged by first
		}
		return r.Torque, torque
	}
	if was != audit.LowTorque && was != audit.HighTorque {
		return r.Torque, was
	}
	return r.Torque, judge.Verdict(judge.Pull{Figures: p.Figures, Reading: &r, Guard: p.Guard})
}

// onlyTorque judges a torque with nothing asked of the angle.
func onlyTorque(p Pull, r device.Reading) audit.Verdict {
	f := p.Figures
	f.Action = procedure.Verify
	r.Direction = device.Tighten
	return judge.Verdict(judge.Pull{Figures: f, Reading: &r, Guard: p.Guard})
}

func byAngle(v audit.Verdict) bool {
	return v == audit.LowAngle || v == audit.HighAngle || v == audit.NoAngle
}
