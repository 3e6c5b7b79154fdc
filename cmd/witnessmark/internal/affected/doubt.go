package affected

import (
	"context"
	"fmt"
	"time"

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
	doubt, why, err := doubtOf(ctx, r, q.Wrench)
	if err != nil {
		return nil, err
	}
	if q.Span != (recall.Span{}) {
		doubt.Span, why = q.Span, "in the span that was asked for"
	}
	if q.Found == nil {
		q.Found = doubt.Found
	}
	out, err := OfWrench(ctx, r, q.Wrench, doubt.Span, q.Found)
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
func doubtOf(ctx context.Context, r *store.Reader, wrench string) (d recall.Doubt, why string, err error) {
	declared, err := r.Declared(ctx, wrench)
	if err != nil {
		return d, "", err
	}
	if len(declared) == 0 {
		return d, "", &Unknown{wrench}
	}
	rec, err := r.Calibrations(ctx, wrench)
	if err != nil {
		return d, "", err
	}
	if d, err = rec.Doubt(); err != nil {
		return d, "", err
	}
	why = d.Span.String()
	if d.Certificate == "" {
		return d, why + "; no calibration has found it bad", nil
	}
	return d, why + ", found bad by certificate " + d.Certificate, nil
}
