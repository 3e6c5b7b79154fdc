package trial

import (
	"witnessmark/audit"
	"witnessmark/audit/judge"
	"witnessmark/device"
	"witnessmark/device/unit"
)

// Way is what is watched in a run besides its slip.
type Way string

// The ways: why a bolt is renewed; how a verification round goes; how an adapter is told of. Empty: nothing is watched.
const (
	RenewedLow   Way = "renewed, had been let go early"
	RenewedHigh  Way = "renewed, had been run over"
	RenewedAhead Way = "renewed ahead of its pull"
	RenewedGood  Way = "renewed, all had been good"
	RenewedTwo   Way = "two renewed"

	RoundListed Way = "verified in order"
	RoundLeft   Way = "verified, one left out"
	RoundTwice  Way = "verified, one taken twice"

	ReachStage  Way = "adapter named by a stage"
	ReachFitted Way = "adapter fitted for a stage"
	ReachBoth   Way = "adapter named and fitted"
	ReachAlways Way = "adapter fitted all along"
)

// Ways lists them in the order of the table.
func Ways() []Way {
	return []Way{RenewedLow, RenewedHigh, RenewedAhead, RenewedGood, RenewedTwo, RoundListed, RoundLeft, RoundTwice, ReachStage, ReachFitted,
		ReachBoth, ReachAlways}
}

// Act is what a person says at the bench after so many readings. Who says it, where and of which run is for the floor to add.
type Act struct {
	After   int
	Renewed string               // the fastener that got a new bolt; empty: Fitted counts
	Fitted  *audit.AdapterFitted // without a name: nothing is fitted any more
}

// turned is how far a bolt was turned in its newest stage.
type turned struct {
	stage int
	by    unit.Angle
}

// good is true of a reading that passes at its true step, where the fastener gets factor times what was shown.
func (t *technician) good(step int, r device.Reading, factor float64) bool {
	s := &t.steps[step]
	at := &t.turned[s.Fastener]
	if at.stage != s.Stage {
		*at = turned{stage: s.Stage}
	}
	r.Torque = unit.Torque(float64(r.Torque)*factor + 0.5)
	v := judge.Verdict(judge.Pull{Figures: s.Figures, Reading: &r, Turned: at.by})
	if r.Angle != nil {
		at.by += *r.Angle
	}
	return v == audit.Pass
}
