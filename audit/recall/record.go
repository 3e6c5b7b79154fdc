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

// Found are the words on how the wrench was found. Of a wrench that nothing is known of there are none.
func (r *Record) Found() (out []audit.CalibrationFound) {
	if r == nil {
		return nil
	}
	for _, f := range r.found {
		out = append(out, f.CalibrationFound)
	}
	return out
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
	Certificate string    // which found it bad; empty: none did, and the span is that since its last good calibration
	At          time.Time // when it was calibrated
	Found       AsFound   // nil: no deviation was recorded
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
	d.Certificate, d.At = bad.Certificate, bad.At
	d.Found, err = r.points(bad.Certificate)
	return d, err
}

// points are the deviations by the newest word on a certificate that has some.
func (r *Record) points(certificate string) (f AsFound, err error) {
	for _, said := range r.found {
		if strings.EqualFold(said.Certificate, certificate) && said.Points != "" {
			if f, err = Parse(said.Points); err != nil {
				return nil, err
			}
		}
	}
	return f, nil
}

// Doubts are all times in which readings of the wrench are in doubt because a calibration found it bad, in the order of the
// calibrations; the newest of them is Doubt.
func (r *Record) Doubts() (out []Doubt, err error) {
	if !r.FoundBad() {
		return nil, nil
	}
	all := inOrder(r.all())
	for i, c := range all {
		if !c.FoundBad {
			continue
		}
		d := Doubt{Span: wholeDays(around(all, i)), Certificate: c.Certificate, At: c.At}
		if d.Found, err = r.points(c.Certificate); err != nil {
			return nil, err
		}
		out = append(out, d)
	}
	return out, nil
}

// Of is the doubt that a reading of an instant is in, nil: none. Of several it is that of the first calibration after the
// reading, which tells best how the wrench was then.
func Of(all []Doubt, at time.Time) (by *Doubt) {
	for i := range all {
		d := &all[i]
		if !d.Bad(at) {
			continue
		}
		by = d
		if !at.After(d.At) {
			break
		}
	}
	return by
}

// ShowsTooLittle is true where the wrench may have given more than it showed: a deviation below 0 was found, or none is known.
func (d *Doubt) ShowsTooLittle() bool {
	return d.Found == nil || slices.ContainsFunc(d.Found, func(p Point) bool { return p.Deviation < 0 })
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
