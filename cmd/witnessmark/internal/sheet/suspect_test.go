package sheet

import (
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/recall"
	"witnessmark/store"
)

// The run that came out well rests on its wrench, but for what a person answered and what did not pass.
func TestOf_AWrenchThatWasFoundBad(t *testing.T) {
	h := history()
	rec := &recall.Record{}
	rec.Find(begin.Add(72*time.Hour), audit.CalibrationFound{Wrench: "TW-01", Certificate: "K-2", Found: begin.Add(48 * time.Hour)})
	h.Calibrations = map[string]*recall.Record{"TW-01": rec}
	e, text := sheets(t, h)
	const want = "wrench TW-01 was found bad by certificate K-2, in doubt since ever: no good calibration is recorded until now, and on its readings, 5 in all, rest: stage snug, fastener 1, 2; stage turn, fastener 1, 2; check drag"
	good := e.Builds[0].Joints[1]
	if !slices.Equal(good.Doubts, []string{want}) || good.Findings[0] != want || !good.Complete {
		t.Errorf("got %q among %q, want %q first", good.Doubts, good.Findings, want)
	}
	for _, line := range []string{"IN DOUBT: a calibration found bad since touches 5 of its readings", want} {
		if !strings.Contains(text, line) {
			t.Errorf("got %s, want %q in it", text, line)
		}
	}
	m := good.Steps[0].Marks[0]
	if m.Verdict != audit.Pass || !slices.Contains(m.Flags, audit.FoundBad) {
		t.Errorf("got %+v, want the verdict as it was, and the flag beside it", m)
	}
	t.Run("what was conceded is in doubt no more", func(t *testing.T) {
		h.Builds[0].Concessions = []store.ConcessionHistory{{ConcessionGranted: audit.ConcessionGranted{Finding: "found-bad:caps/TW-01", Found: "joint caps, " + want}}}
		if e, _ := sheets(t, h); e.Builds[0].InDoubt() != "" {
			t.Errorf("got %q, want nothing", e.Builds[0].InDoubt())
		}
	})
	t.Run("before it was recorded nothing was in doubt", func(t *testing.T) {
		h := history()
		h.Calibrations = map[string]*recall.Record{"TW-01": rec}
		h.Until(begin.Add(71 * time.Hour))
		if e, _ := sheets(t, h); e.Builds[0].InDoubt() != "" {
			t.Errorf("got %q, want nothing", e.Builds[0].InDoubt())
		}
	})
}

// What was measured of a bolt that is no longer there is in doubt no more: nothing rests on it.
func TestJoint_AnsweredOfTheBoltsThatAreThere(t *testing.T) {
	o := Joint{Checks: []Check{{Check: "stretch", Fastener: "1", OK: true, LedgerIndex: 10}, {Check: "stretch", Fastener: "2", OK: true, LedgerIndex: 11},
		{Check: "stretch", Fastener: "2", OK: true, LedgerIndex: 21}, {Check: "stretch", Fastener: "3", LedgerIndex: 22}},
		Renewals: []Renewal{{Fastener: "1", LedgerIndex: 20}, {Fastener: "2", LedgerIndex: 20}}}
	if got, want := o.answered(), map[string]int{"check stretch of fastener 2": 2}; !maps.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}
