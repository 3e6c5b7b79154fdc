// Package device turns what a wrench sends into readings: it opens ports, cuts bytes into frames,
// checks and decodes them by the wrench's profile, and finds a port again that went away.
package device

import "witnessmark/device/unit"

// Direction is the sense in which the wrench turned.
type Direction string

// The directions. A wrench that does not say is taken to have tightened.
const (
	Tighten Direction = "tighten"
	Loosen  Direction = "loosen"
)

// Reading is what a wrench reported of one pull: the final torque and angle, and what the wrench said beside them.
// The zero value of an optional field means that the wrench did not say.
type Reading struct {
	Wrench     string          `json:"wrench" db:"wrench"`             // the wrench's id in this shop
	Torque     unit.Torque     `json:"torque" db:"torque"`             // final torque
	TorqueText string          `json:"torque_text" db:"torque_text"`   // the number as the wrench wrote it, in Unit
	Unit       unit.TorqueUnit `json:"unit" db:"unit"`                 // the unit the wrench wrote it in
	Angle      *unit.Angle     `json:"angle,omitempty" db:"angle"`     // final angle; nil: none sent
	Direction  Direction       `json:"direction" db:"direction"`       //
	Counter    *int64          `json:"counter,omitempty" db:"counter"` // the wrench's own count of readings
	Clock      string          `json:"clock,omitempty" db:"clock"`     // the wrench's own clock as text, never used for order
	Serial     string          `json:"serial,omitempty" db:"serial"`   // the serial number the wrench speaks
	Tag        string          `json:"tag,omitempty" db:"tag"`         // fastener id sent by the wrench; a preset stands in Preset
	Preset     string          `json:"preset,omitempty" db:"preset"`   // the preset or programme that was set at the wrench
	Judged     Judgement       `json:"judged,omitempty" db:"judged"`   // the wrench's own judgement; ours is a mark
	Battery    *int64          `json:"battery,omitempty" db:"battery"` // percent, 0 to 100
	ErrorCode  string          `json:"error_code,omitempty" db:"error_code"`
	Stored     bool            `json:"stored,omitempty" db:"stored"`   // kept in the wrench's memory and sent later: Clock is its time
	Epoch      int64           `json:"epoch,omitempty" db:"epoch"`     // how often the wrench's counter has begun anew before this
	Skipped    int64           `json:"skipped,omitempty" db:"skipped"` // counts between the reading before and this one that never came
	Repeat     bool            `json:"repeat,omitempty" db:"repeat"`   // the same line as one before, and nothing tells a second pull from a second sending
	Raw        []byte          `json:"raw" db:"raw"`                   // the frame's bytes, delimiter included
	Profile    string          `json:"profile" db:"profile"`           // name and version of the profile that decoded it
}

// Judgement is what a wrench itself says of a pull.
type Judgement string

// What a wrench can say; one that does not judge says nothing.
const (
	JudgedPass Judgement = "pass"
	JudgedLow  Judgement = "low"
	JudgedHigh Judgement = "high"
	JudgedFail Judgement = "fail" // it does not say why
)

// Refusal is a frame that did not become a reading, or several alike that came too fast to be kept one by one.
type Refusal struct {
	Wrench string `json:"wrench" db:"wrench"`
	Reason string `json:"reason" db:"reason"` // one of the Reason constants: a metric label
	Detail string `json:"detail" db:"detail"` // one sentence: what was found, what was expected
	Raw    []byte `json:"raw" db:"raw"`       // at most MaxRaw bytes of the frame
	// More is how many further frames with the same reason came with this one; their bytes are in the raw evidence.
	More int64 `json:"more,omitempty" db:"more"`
}

// MaxRaw bounds the raw bytes kept of one frame.
const MaxRaw = 512

// Reasons for which a frame is refused; each is counted under its own name.
const (
	ReasonTorn     = "torn"     // the port closed in the middle of a frame
	ReasonTooLong  = "too long" // no end of frame within the limit
	ReasonNUL      = "nul byte" // a break or a parity error reads as NUL
	ReasonChecksum = "checksum" // the check over the frame does not fit
	ReasonForm     = "form"     // the frame has not the fields that the profile draws
	ReasonValue    = "value"    // a field holds a number that no wrench can measure
	ReasonStranger = "stranger" // another wrench than the one that is expected here: the serial number that it speaks says so
	ReasonNoise    = "noise"    // bytes that stand between frames: a wrong setting of the line, or a disturbed cable
)

// Reasons lists them all, in the order above.
func Reasons() []string {
	return []string{ReasonTorn, ReasonTooLong, ReasonNUL, ReasonChecksum, ReasonForm, ReasonValue, ReasonStranger, ReasonNoise}
}
