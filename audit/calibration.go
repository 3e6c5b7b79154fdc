package audit

import "time"

// CalibrationFound says how a wrench was found when it came to a calibration, before anything was put right there. Where it
// was not good, what was tightened with it since the last good calibration is in doubt (IATF 16949, 7.1.5.2.1, from memory).
type CalibrationFound struct {
	Wrench      string    `json:"wrench" db:"wrench"`
	Certificate string    `json:"certificate" db:"certificate"`
	Found       time.Time `json:"found" db:"found"`       // when it was measured
	Points      string    `json:"points" db:"points"`     // deviations as found, as recall.AsFound writes them; empty: not measured, only judged
	Good        bool      `json:"good" db:"good"`         // as found, by whoever calibrated it
	Adjusted    bool      `json:"adjusted" db:"adjusted"` // it was put right there, and left good
	Person      string    `json:"person" db:"person"`     // who recorded it
}

// Kind implements Event.
func (CalibrationFound) Kind() string { return "calibration found" }

// LeftGood tells whether the wrench was good when it left that calibration.
func (c CalibrationFound) LeftGood() bool { return c.Good || c.Adjusted }
