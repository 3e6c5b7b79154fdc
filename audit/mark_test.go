package audit_test

import (
	"slices"
	"testing"

	"witnessmark/audit"
)

// Whether a flag asks for a person's eye is decided for each flag there is, and for each way in which a place is known.
func TestMark_Odd(t *testing.T) {
	const always, never, unexplained = "always", "never", "unless a person said where it was"
	asks := map[string]string{
		audit.OutOfOrder:       always,
		audit.ReHit:            always,
		audit.Unexpected:       unexplained,
		audit.Unsure:           unexplained,
		audit.OtherAdapter:     always,
		audit.OutOfCalibration: always,
		audit.OutOfRange:       always,
		audit.Resent:           never,
		audit.PossibleRepeat:   always,
		audit.Conditional:      never,
		audit.FoundBad:         never, // said of the joint
	}
	for _, flag := range audit.Flags() {
		for _, by := range []audit.LocatedBy{"", audit.ByTag, audit.ByScan, audit.ByPerson, audit.ByOrder} {
			m := audit.Mark{Flags: []string{flag}, LocatedBy: by}
			want := asks[flag] == always || asks[flag] == unexplained && by != audit.ByPerson
			if got := slices.Equal(m.Odd(), m.Flags); got != want || asks[flag] == "" {
				t.Errorf("%q, located by %q: got %v, want it to ask %s", flag, by, got, asks[flag])
			}
		}
	}
	m := audit.Mark{Flags: []string{audit.OutOfOrder, audit.Unsure, audit.Resent, audit.PossibleRepeat}, LocatedBy: audit.ByPerson}
	if got, want := m.Odd(), []string{audit.OutOfOrder, audit.PossibleRepeat}; !slices.Equal(got, want) || len(m.Flags) != 4 {
		t.Errorf("got %q of %q, want %q in their order, and the mark as it was", got, m.Flags, want)
	}
}
