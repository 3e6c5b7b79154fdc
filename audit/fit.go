package audit

import "witnessmark/device/unit"

// AdapterFitted says what stands between a wrench and the fastener at a bench from now on. It is the bench's word on what
// is really fitted, and goes before the adapter that a stage names.
type AdapterFitted struct {
	Bench        string      `json:"bench" db:"bench"`
	Wrench       string      `json:"wrench,omitempty" db:"wrench"` // empty: every wrench at the bench that has none of its own
	Adapter      string      `json:"adapter" db:"adapter"`         // empty: nothing stands there any more
	WrenchLength unit.Length `json:"wrench_length" db:"wrench_length"`
	Extension    unit.Length `json:"extension" db:"extension"`
	Angle        unit.Angle  `json:"angle" db:"angle"` // between the adapter and the line of the wrench
	Person       string      `json:"person" db:"person"`
}

// Kind implements Event.
func (AdapterFitted) Kind() string { return "adapter fitted" }
