// Package procedure is the tightening procedure of an engine family: joints, fasteners, stages and checks with their
// figures, read from a strict YAML file.
package procedure

import (
	"witnessmark/audit/adapter"
	"witnessmark/device/unit"
)

// Procedure is one revision of the tightening procedure of an engine family.
type Procedure struct {
	Family   string
	Revision string
	Title    string
	Source   string   // where the figures come from
	Decision Decision // how the limits are applied
	Wrench   WrenchRules
	Types    map[string]FastenerType
	Adapters map[string]adapter.Adapter // by the id that stages name them by
	Joints   []Joint
}

// Decision is the decision rule at a limit (ILAC-G8:09/2019).
type Decision string

// The decision rules.
const (
	Simple  Decision = "simple"  // accept inside the limits
	Guarded Decision = "guarded" // limits drawn in by the expanded uncertainty of the wrench
)

// WrenchRules says what a finding about the wrench means for a step: flagged and done all the same, or not done.
type WrenchRules struct {
	UncalibratedFails bool // the wrench was out of calibration
	OutOfRangeFails   bool // the torque lies outside the wrench's range
}

// FastenerType is what is known of a kind of bolt.
type FastenerType struct {
	Thread      string // e.g. M12x1.75
	Length      unit.Length
	Class       string // property class (ISO 898-1), e.g. 10.9
	Reuse       string // never, or a number of torque cycles as text, or always; empty: not said
	Lubrication string
}

// Criticality is the class of a joint (VDI/VDE 2862).
type Criticality string

// The classes: A endangers life and limb, B a breakdown, C a nuisance.
const (
	ClassA Criticality = "A"
	ClassB Criticality = "B"
	ClassC Criticality = "C"
)

// Round says what is gone through first.
type Round string

// RoundStage takes every fastener through a stage before the next stage; RoundFastener each fastener through all stages.
const (
	RoundStage    Round = "stage"
	RoundFastener Round = "fastener"
)

// Joint is a set of fasteners that are tightened together.
type Joint struct {
	ID          string
	Title       string
	Criticality Criticality
	Round       Round
	Order       []int // fastener indices in the order of tightening
	Fasteners   []Fastener
	Checks      []Check
	Stages      []Stage
	// Prevailing is the check, one for each fastener, whose torque is what the fastener takes to run down before it
	// seats (a locking nut): it is added to every torque of the stages (FAA AC 43.13-1B, 7-40). Empty: none.
	Prevailing string
	Due        int // bolts for single use, which are due to be replaced
}

// Fastener is one position in a joint.
type Fastener struct {
	ID   string
	X, Y unit.Length // position in the drawing of the joint, where Placed
	// Placed is false where the file gives no position.
	Placed bool
	Type   string // a key of Procedure.Types, or empty
	// Figures overrides the figures of a stage for this fastener, by stage id.
	Figures map[string]Figures
}

// Action is what a stage does to a fastener.
type Action string

// The actions.
const (
	TightenTo Action = "tighten_to" // to a torque
	TurnBy    Action = "turn_by"    // by an angle, further in
	LoosenBy  Action = "loosen_by"  // by an angle, back
	Verify    Action = "verify"     // find the torque at which it moves on; no tightening, taken later
)

// TorqueWindow is an interval of torque, limits included. Set is false where none is asked for.
type TorqueWindow struct {
	Low, High unit.Torque
	Set       bool
}

// AngleWindow is an interval of angle, limits included. Set is false where none is asked for.
type AngleWindow struct {
	Low, High unit.Angle
	Set       bool
}

// Figures is what a stage asks for: the target by its action, and the windows that a reading must lie in.
// For tighten_to, Torque is the target and Angles a monitoring window; for turn_by and loosen_by, Angle is the
// target and Torques the monitoring window. verify has Torques alone.
type Figures struct {
	Action  Action
	Torque  unit.Torque
	Unit    unit.TorqueUnit // the unit that the file states the target torque in, to show it in; empty: N·m
	Angle   unit.Angle
	Torques TorqueWindow
	Angles  AngleWindow
	Total   AngleWindow // for turn_by: of all turns of the fastener up to and with this stage
}

// Stage is one round of a joint.
type Stage struct {
	ID string
	Figures
	Only    []int  // fastener indices covered; nil: all
	Adapter string // what stands between wrench and fastener: a key of Procedure.Adapters; empty: nothing
	Order   []int  // order of this stage alone; nil: the joint's
}

// Answer is what a check asks for where that is neither a yes nor a measured value.
type Answer string

// The answers.
const (
	LotNumber  Answer = "lot"   // of new parts, typed or scanned
	CountBolts Answer = "bolts" // how many new ones were used, counted against those that are due to be replaced
)

// Check is something other than a tightening that must be confirmed or measured.
type Check struct {
	ID           string
	Ask          string
	Accept       *Range // nil: a yes is asked for, or what Answer says
	Answer       Answer
	Bolts        int    // for CountBolts: so many are due to be replaced
	After        string // stage id after which it is asked; empty: before the first
	EachFastener bool
	ByWrench     bool // the value is a wrench reading
}

// Range is an interval of a measured value as the file states it, e.g. 0.07..0.23 mm; limits included.
// Values are in nanometres for mm, µN·m for a torque, millidegrees for an angle.
type Range struct {
	Low, High int64
	Unit      string // mm, N·m or °
}

// Step is one fastener in one stage, with the figures that hold for it.
type Step struct {
	Stage    int // index in Joint.Stages
	Fastener int // index in Joint.Fasteners
	Figures
}
