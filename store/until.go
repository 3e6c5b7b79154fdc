package store

import (
	"slices"
	"time"
)

// Until takes out of the history what came after an instant, and what was said after it of what came before: what is left
// is what was known then. Names are not dated back: they are as they are known today.
func (h *History) Until(at time.Time) {
	h.Builds = slices.DeleteFunc(h.Builds, func(b BuildHistory) bool { return b.At.After(at) })
	for _, c := range h.Calibrations {
		c.Until(at)
	}
	for i := range h.Builds {
		b := &h.Builds[i]
		b.Runs = slices.DeleteFunc(b.Runs, func(r RunHistory) bool { return r.Started.After(at) })
		b.Concessions = slices.DeleteFunc(b.Concessions, func(c ConcessionHistory) bool { return c.At.After(at) })
		b.Corrections = slices.DeleteFunc(b.Corrections, func(c CorrectionHistory) bool { return c.At.After(at) })
		b.Releases = slices.DeleteFunc(b.Releases, func(r ReleaseHistory) bool { return r.At.After(at) })
		b.Reopenings = slices.DeleteFunc(b.Reopenings, func(r ReopeningHistory) bool { return r.At.After(at) })
		for j := range b.Runs {
			b.Runs[j].until(at)
		}
	}
}

func (r *RunHistory) until(at time.Time) {
	if r.Closed != nil && r.Closed.After(at) {
		r.Closed = nil
	}
	r.Readings = slices.DeleteFunc(r.Readings, func(rd ReadingHistory) bool { return rd.At.After(at) })
	for i := range r.Readings {
		r.Readings[i].Marks = slices.DeleteFunc(r.Readings[i].Marks, func(m MarkHistory) bool { return m.At.After(at) })
	}
	r.Readings = slices.DeleteFunc(r.Readings, func(rd ReadingHistory) bool { // it came into the joint by a later word
		return len(rd.Marks) > 0 && rd.Marks[len(rd.Marks)-1].Run == 0
	})
	r.Answers = slices.DeleteFunc(r.Answers, func(a AnswerHistory) bool { return a.At.After(at) })
	r.Renewals = slices.DeleteFunc(r.Renewals, func(b RenewalHistory) bool { return b.At.After(at) })
	r.Named = slices.DeleteFunc(r.Named, func(n NamedHistory) bool { return n.At.After(at) })
	r.Hands = slices.DeleteFunc(r.Hands, func(h HandHistory) bool { return h.At.After(at) })
	r.Clock = slices.DeleteFunc(r.Clock, func(k ClockHistory) bool { return k.At.After(at) })
	r.Scans = slices.DeleteFunc(r.Scans, func(s ScanHistory) bool { return s.At.After(at) })
}
