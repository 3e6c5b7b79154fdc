package affected

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/recall"
	"witnessmark/store"
)

// Question is what a person wants to know of a wrench.
type Question struct {
	Wrench string
	Span   recall.Span    // zero: that in which it is in doubt by its calibrations
	Found  recall.AsFound // deviations; nil: those recorded
}

// Unknown is a wrench that the shop never had.
type Unknown struct{ Wrench string }

func (u *Unknown) Error() string {
	return fmt.Sprintf("no wrench %q in this shop: see witnessmark wrench status", u.Wrench)
}

// Look lists what a wrench has touched.
func Look(ctx context.Context, r *store.Reader, q Question) (*Wrench, error) {
	doubt, why, recorded, err := doubtOf(ctx, r, q.Wrench)
	if err != nil {
		return nil, err
	}
	if q.Span != (recall.Span{}) {
		doubt, why = q.Span, "in the span that was asked for"
	}
	if q.Found == nil {
		q.Found = recorded
	}
	out, err := OfWrench(ctx, r, q.Wrench, doubt, q.Found)
	if err != nil {
		return nil, err
	}
	out.Why, out.Since, out.Until = why, known(doubt.From), known(doubt.To)
	return out, nil
}

func known(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}

// doubtOf is the span in which a wrench is in doubt by what is recorded of its calibrations, in words too, and what was found.
func doubtOf(ctx context.Context, r *store.Reader, wrench string) (s recall.Span, why string, points recall.AsFound, err error) {
	declared, calibrations, err := r.Declared(ctx, wrench)
	if err != nil {
		return s, "", nil, err
	}
	if len(declared) == 0 {
		return s, "", nil, &Unknown{wrench}
	}
	findings, err := r.Found(ctx, wrench)
	if err != nil {
		return s, "", nil, err
	}
	calibrations = withFindings(calibrations, findings)
	s, bad := recall.Doubt(calibrations)
	why = "since " + dayOr(s.From, "ever: no good calibration is recorded") + " until " + dayOr(s.To, "now")
	if bad == nil {
		return wholeDays(s), why + "; no calibration has found it bad", nil, nil
	}
	why += ", found bad by certificate " + bad.Certificate
	for _, f := range findings { // the newest word on a certificate holds
		if f.Certificate == bad.Certificate && f.Points != "" {
			if points, err = recall.Parse(f.Points); err != nil {
				return s, "", nil, err
			}
		}
	}
	return wholeDays(s), why, points, nil
}

// FoundBad is the span in which a wrench is in doubt because a calibration found it bad, and the certificate that says so;
// empty where none did.
func FoundBad(ctx context.Context, r *store.Reader, wrench string) (s recall.Span, certificate string, err error) {
	findings, err := r.Found(ctx, wrench)
	if err != nil || len(findings) == 0 {
		return s, "", err
	}
	_, calibrations, err := r.Declared(ctx, wrench)
	if err != nil {
		return s, "", err
	}
	s, bad := recall.Doubt(withFindings(calibrations, findings))
	if bad == nil {
		return recall.Span{}, "", nil
	}
	return wholeDays(s), bad.Certificate, nil
}

// withFindings tells the calibrations how the wrench was found at them, and adds those that are known by that alone.
func withFindings(all []recall.Calibration, findings []audit.CalibrationFound) []recall.Calibration {
	for _, f := range findings {
		i := slices.IndexFunc(all, func(c recall.Calibration) bool { return strings.EqualFold(c.Certificate, f.Certificate) })
		if i < 0 {
			i = len(all)
			all = append(all, recall.Calibration{Certificate: f.Certificate, At: f.Found})
		}
		all[i].FoundBad, all[i].LeftGood = !f.Good, f.LeftGood()
	}
	return all
}

// wholeDays stretches an end that names a day to the end of that day: a certificate does not say the hour.
func wholeDays(s recall.Span) recall.Span {
	if !s.To.IsZero() && s.To.Equal(s.To.Truncate(24*time.Hour)) {
		s.To = s.To.Add(24*time.Hour - time.Microsecond)
	}
	return s
}

func dayOr(t time.Time, otherwise string) string {
	if t.IsZero() {
		return otherwise
	}
	return t.UTC().Format(time.DateOnly)
}
