package store_test

import (
	"testing"
	"time"

	"witnessmark/audit"
)

// A finding belongs to the builds that its wrench has touched: their history tells it, from the time on that it was recorded,
// their sheet is signed after it, and their bundle proves it.
func TestHistory_AWrenchThatWasFoundBad(t *testing.T) {
	s := newShop(t)
	s.after(30, audit.CalibrationFound{Wrench: "W1", Certificate: "K-2", Found: time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC), Person: "ab12"},
		audit.CalibrationFound{Wrench: "W9", Certificate: "K-3", Found: time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC), Person: "ab12"})
	h, err := s.reader().Build(t.Context(), "WO-1")
	if err != nil {
		t.Fatal(err)
	}
	doubts, err := h.Doubts()
	if d := doubts["W1"]; err != nil || len(doubts) != 1 || len(d) != 1 || d[0].Certificate != "K-2" || !d[0].Bad(h.Builds[0].Runs[0].Readings[0].At) {
		t.Errorf("got %+v, %v, want W1 alone in doubt", doubts, err)
	}
	_, at, err := s.reader().SignedAfter(t.Context(), &h.Builds[0])
	if err != nil || at.IsZero() {
		t.Errorf("got %v, %v, want a checkpoint that holds the finding", at, err)
	}
	if got := kinds(t, s.bundled())["calibration found"]; got != 1 {
		t.Errorf("got %d findings in the bundle, want that of its own wrench", got)
	}
	h.Until(time.Date(2026, 5, 4, 9, 29, 0, 0, time.UTC))
	if doubts, err := h.Doubts(); err != nil || len(doubts) != 0 {
		t.Errorf("got %+v, %v, want nothing known before it was recorded", doubts, err)
	}
}
