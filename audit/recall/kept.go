package recall

import (
	"encoding/json"
	"time"

	"witnessmark/audit"
)

// kept is a Record in the form in which it is put away.
type kept struct {
	Calibrations []keptCalibration
	Found        []keptFinding
}

type keptCalibration struct {
	Calibration
	Since time.Time
}

type keptFinding struct {
	Finding audit.CalibrationFound
	Since   time.Time
}

// MarshalJSON implements json.Marshaler.
func (r *Record) MarshalJSON() ([]byte, error) {
	var k kept
	for _, c := range r.calibrations {
		k.Calibrations = append(k.Calibrations, keptCalibration{c.Calibration, c.since})
	}
	for _, f := range r.found {
		k.Found = append(k.Found, keptFinding{f.CalibrationFound, f.since})
	}
	return json.Marshal(k)
}

// UnmarshalJSON implements json.Unmarshaler.
func (r *Record) UnmarshalJSON(data []byte) error {
	var k kept
	if err := json.Unmarshal(data, &k); err != nil {
		return err
	}
	*r = Record{}
	for _, c := range k.Calibrations {
		r.calibrations = append(r.calibrations, known{c.Calibration, c.Since})
	}
	for _, f := range k.Found {
		r.found = append(r.found, finding{f.Finding, f.Since})
	}
	return nil
}
