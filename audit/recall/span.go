package recall

import (
	"slices"
	"time"
)

// Calibration is one of a wrench.
type Calibration struct {
	Certificate string
	At          time.Time
	LeftGood    bool // the wrench was good when it left; one of which nothing was said is
	FoundBad    bool // it was not when it came
}

// Span is the time in which readings of a wrench are in doubt; both ends belong to it.
type Span struct {
	From time.Time // zero: since ever, there was no good calibration before
	To   time.Time // zero: until now, there was no good calibration since
}

// spanOf is the span around the newest calibration that found the wrench bad: from the last calibration before it that left the
// wrench good, to the first from it on that did. Where none was bad it begins at the newest good one. A later calibration
// ends the span only if it was good.
func spanOf(all []Calibration) (s Span, bad *Calibration) {
	all = inOrder(all)
	found := len(all)
	for i := range all {
		if all[i].FoundBad {
			found, bad = i, &all[i]
		}
	}
	return around(all, found), bad
}

func inOrder(all []Calibration) []Calibration {
	all = slices.Clone(all)
	slices.SortStableFunc(all, func(a, b Calibration) int { return a.At.Compare(b.At) })
	return all
}

// around is the span in doubt by calibration i of those in order; beyond the last one, the time since the newest good one.
func around(all []Calibration, i int) (s Span) {
	for _, c := range all[:i] {
		if c.LeftGood {
			s.From = c.At
		}
	}
	for _, c := range all[i:] {
		if c.LeftGood {
			s.To = c.At
			break
		}
	}
	return s
}

// String is the span by its days.
func (s Span) String() string {
	return "since " + dayOr(s.From, "ever: no good calibration is recorded") + " until " + dayOr(s.To, "now")
}

func dayOr(t time.Time, otherwise string) string {
	if t.IsZero() {
		return otherwise
	}
	return t.UTC().Format(time.DateOnly)
}

// Holds tells whether an instant belongs to the span.
func (s Span) Holds(t time.Time) bool {
	return !t.Before(s.From) && (s.To.IsZero() || !t.After(s.To))
}
