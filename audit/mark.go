package audit

import (
	"fmt"
	"slices"
)

// Verdict says whether a reading is right for its step.
type Verdict string

// The verdicts. NotJudged is for a reading that belongs to no step.
const (
	Pass           Verdict = "pass"
	LowTorque      Verdict = "low torque"
	HighTorque     Verdict = "high torque"
	LowAngle       Verdict = "low angle"
	HighAngle      Verdict = "high angle"
	WrongDirection Verdict = "wrong direction"
	NoAngle        Verdict = "no angle"
	WrenchUnfit    Verdict = "wrench unfit" // good, but the procedure lets no reading of a wrench in this state pass
	NotJudged      Verdict = "not judged"
)

// Flags stand beside the verdict, any number of them, always in this order.
const (
	OutOfOrder       = "out of order"
	ReHit            = "re-hit"
	Unexpected       = "unexpected"
	Unsure           = "unsure"
	OtherAdapter     = "other adapter" // pulled through another adapter than the stage names
	OutOfCalibration = "wrench out of calibration"
	OutOfRange       = "wrench out of range"
	Resent           = "resent"          // kept in the wrench's memory and sent later
	PossibleRepeat   = "possible repeat" // the same line as one before: a second pull, or the same one sent twice
	Conditional      = "conditional"
	// FoundBad is in no mark that is recorded: it is what a calibration said of the wrench later.
	FoundBad = "wrench found bad"
)

// Verdicts lists them all, in the order above.
func Verdicts() []Verdict {
	return []Verdict{Pass, LowTorque, HighTorque, LowAngle, HighAngle, WrongDirection, NoAngle, WrenchUnfit, NotJudged}
}

// Flags lists them all, in the order above.
func Flags() []string {
	return []string{OutOfOrder, ReHit, Unexpected, Unsure, OtherAdapter, OutOfCalibration, OutOfRange, Resent, PossibleRepeat, Conditional, FoundBad}
}

// LocatedBy says how the fastener of a reading is known.
type LocatedBy string

// How a position is known; nothing known is the empty string.
const (
	ByTag    LocatedBy = "tag"
	ByScan   LocatedBy = "scan"
	ByPerson LocatedBy = "person"
	ByOrder  LocatedBy = "order" // presumed from the order
)

// Share is a probability in parts per million, 0 … 1 000 000.
type Share int32

// Decimal is the share as a decimal number with all its six digits, e.g. 0.999600.
func (s Share) Decimal() string { return fmt.Sprintf("%d.%06d", s/Certain, s%Certain) }

// Certain is the Share of what is known.
const Certain Share = 1_000_000

// Mark is the finding about a reading. The first one is made live; a later one of the same reading supersedes it.
type Mark struct {
	Reading     uint64    `json:"reading" db:"reading"`           // sequence number of the reading's entry
	No          int       `json:"no" db:"no"`                     // 1, 2, 3 …; the highest is in force
	Run         uint64    `json:"run" db:"run"`                   // joint run, 0: no joint was on the bench
	Build       uint64    `json:"build" db:"build"`               // 0: none
	Joint       string    `json:"joint" db:"joint"`               //
	Stage       string    `json:"stage" db:"stage"`               // empty: belongs to no step
	Fastener    string    `json:"fastener" db:"fastener"`         // empty: belongs to no step
	Verdict     Verdict   `json:"verdict" db:"verdict"`           //
	Flags       []string  `json:"flags" db:"flags"`               // never nil
	Confidence  Share     `json:"confidence" db:"confidence"`     //
	LocatedBy   LocatedBy `json:"located_by" db:"located_by"`     //
	Family      string    `json:"family" db:"family"`             // the procedure revision that it was judged by
	Revision    string    `json:"revision" db:"revision"`         //
	Calibration uint64    `json:"calibration" db:"calibration"`   // sequence number of the wrench's declaration, 0: none
	Adapter     string    `json:"adapter" db:"adapter"`           // what stood between wrench and fastener, empty: nothing
	Applied     int64     `json:"applied,omitempty" db:"applied"` // µN·m that the fastener got through the adapter; 0 without one: what the wrench showed
	// Conformity is the probability in millionths that the true torque lies inside the limits (JCGM 106); nil: the stage
	// asks for no torque, or the uncertainty of the wrench is not known.
	Conformity *int64 `json:"conformity,omitempty" db:"conformity"`
	// CheckID is the check that the reading measures, with Fastener where it is asked for each one; it is then no
	// tightening. Empty: none.
	CheckID string `json:"check_id,omitempty" db:"check_id"`
}

// Odd are the flags that ask for a person's eye; they stand in the way of a release until somebody has seen to them. None are
// that a reading was nearer to a limit than its measurement is certain, or sent later. What a person said of a reading explains
// that it was unexpected or unsure, and what a calibration said of its wrench later is a matter of the joint.
func (m *Mark) Odd() (odd []string) {
	quiet := []string{Conditional, Resent, FoundBad}
	if m.LocatedBy == ByPerson {
		quiet = append(quiet, Unexpected, Unsure)
	}
	for _, f := range m.Flags {
		if !slices.Contains(quiet, f) {
			odd = append(odd, f)
		}
	}
	return odd
}

// Kind names a mark in the ledger.
func (Mark) Kind() string { return "mark" }
