package bench

import (
	"witnessmark/audit"
	"witnessmark/audit/recall"
)

// declare takes a declaration. Another certificate or another day is a new calibration, from which pulls are counted.
func (s *Shop) declare(e audit.Entry, ev audit.WrenchDeclared) {
	s.calibrations(ev.Wrench).Declare(e.At, ev)
	before := s.wrenches[ev.Wrench]
	w := declared{WrenchDeclared: &ev, seq: e.Seq}
	if before.seq != 0 && before.Certificate == ev.Certificate && sameDay(before.WrenchDeclared, &ev) {
		w.pulls = before.pulls
	}
	s.wrenches[ev.Wrench] = w
	s.recount(ev.Wrench)
}

// calibrations is what is known of the calibrations of a wrench.
func (s *Shop) calibrations(wrench string) *recall.Record {
	r := s.calibrated[wrench]
	if r == nil {
		r = &recall.Record{}
		s.calibrated[wrench] = r
	}
	return r
}

func sameDay(a, b *audit.WrenchDeclared) bool {
	if a.Calibrated == nil || b.Calibrated == nil {
		return a.Calibrated == b.Calibrated
	}
	return a.Calibrated.Equal(*b.Calibrated)
}

// pulled counts a reading of a wrench. One that was never declared is not counted: it has no calibration to end.
func (s *Shop) pulled(wrench string) declared {
	w, known := s.wrenches[wrench]
	if !known {
		return undeclared
	}
	w.pulls++
	s.wrenches[wrench] = w
	return w
}

// undeclared is a wrench of which nothing is said.
var undeclared = declared{WrenchDeclared: &audit.WrenchDeclared{}}

// Pulls is how many readings a wrench has taken since its calibration.
func (s *Shop) Pulls(wrench string) int64 { return s.wrenches[wrench].pulls }
