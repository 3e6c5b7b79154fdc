package recall

import (
	"slices"
	"strings"
	"time"

	"witnessmark/audit"
)

// Record is what is known of the calibrations of one wrench. The zero Record knows of none.
type Record struct {
	calibrations []known
	found        []finding
}

// known is a calibration, from when on it was.
type known struct {
	Calibration
	since time.Time
}

type finding struct {
	audit.CalibrationFound
	since time.Time
}

// Declare takes a declaration that was recorded at an instant. Without a certificate and a day it is no calibration; said
// again it is the one before.
func (r *Record) Declare(at time.Time, w audit.WrenchDeclared) {
	c := Calibration{Certificate: w.Certificate, At: at, LeftGood: true}
	if w.Calibrated != nil {
		c.At = *w.Calibrated
	}
	n := len(r.calibrations)
	again := n > 0 && r.calibrations[n-1].Certificate == c.Certificate && (w.Calibrated == nil || r.calibrations[n-1].At.Equal(c.At))
	if again || w.Certificate == "" && w.Calibrated == nil {
		return
	}
	r.calibrations = append(r.calibrations, known{c, at})
}

// Find takes how the wrench was found, as it was recorded at an instant.
func (r *Record) Find(at time.Time, f audit.CalibrationFound) {
	r.found = append(r.found, finding{f, at})
}

// FoundBad is true where some calibration found the wrench bad. Of a wrench that nothing is known of it is false.
func (r *Record) FoundBad() bool {
	return r != nil && slices.ContainsFunc(r.found, func(f finding) bool { return !f.Good })
}

// Until forgets what was recorded after an instant.
func (r *Record) Until(at time.Time) {
	r.calibrations = slices.DeleteFunc(r.calibrations, func(c known) bool { return c.since.After(at) })
	r.found = slices.DeleteFunc(r.found, func(f finding) bool { return f.since.After(at) })
}

// Doubt is the time in which readings of a wrench are in doubt.
type Doubt struct {
	Span
	Certificate string  // which found it bad; empty: none did, and the span is that since its last good calibration
	Found       AsFound // nil: no deviation was recorded
}

// Bad is true where a calibration found the wrench bad and the instant belongs to the span.
func (d *Doubt) Bad(at time.Time) bool { return d.Certificate != "" && d.Holds(at) }

// Doubt tells when the wrench is in doubt. The newest word on a certificate holds. Points that cannot be read are an error.
func (r *Record) Doubt() (d Doubt, err error) {
	var bad *Calibration
	d.Span, bad = spanOf(r.all())
	d.Span = wholeDays(d.Span)
	if bad == nil {
		return d, nil
	}
	d.Certificate = bad.Certificate
	for _, f := range r.found {
		if strings.EqualFold(f.Certificate, bad.Certificate) && f.Points != "" {
			if d.Found, err = Parse(f.Points); err != nil {
				return d, err
			}
		}
	}
	return d, nil
}

// all are the calibrations with how the wrench was found at them, and those that are known by that alone.
func (r *Record) all() []Calibration {
	var out []Calibration
	for _, c := range r.calibrations {
		out = append(out, c.Calibration)
	}
	for _, f := range r.found {
		i := slices.IndexFunc(out, func(c Calibration) bool { return strings.EqualFold(c.Certificate, f.Certificate) })
		if i < 0 {
			i = len(out)
			out = append(out, Calibration{Certificate: f.Certificate, At: f.Found})
		}
		out[i].FoundBad, out[i].LeftGood = !f.Good, f.LeftGood()
	}
	return out
}

// wholeDays stretches an end that names a day to the end of that day: a certificate does not say the hour.
func wholeDays(s Span) Span {
	if !s.To.IsZero() && s.To.Equal(s.To.Truncate(24*time.Hour)) {
		s.To = s.To.Add(24*time.Hour - time.Microsecond)
	}
	return s
}
