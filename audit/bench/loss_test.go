package bench

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"witnessmark/audit"
)

func TestShop_LossAccepted(t *testing.T) {
	s, seq := NewShop(nil), uint64(0)
	apply := func(ev audit.Event) string {
		seq++
		return s.Apply(audit.Entry{Seq: seq, At: time.Unix(int64(seq), 0), Event: ev}).Refused
	}
	root := func(b byte) []byte { return bytes.Repeat([]byte{b}, 32) }
	loss := func(size, remains int64, b byte, reason, person string) audit.LossAccepted {
		return audit.LossAccepted{Size: size, Root: root(b), Remains: remains, RemainsRoot: root(9), Reason: reason, Person: person}
	}
	for _, c := range []struct {
		ev      audit.Event
		refused string
	}{
		{loss(9, 4, 1, " ", "a"), "needs a reason"},
		{loss(4, 4, 1, "r", "a"), "between two sizes"},
		{loss(9, -1, 1, "r", "a"), "between two sizes"},
		{audit.LossAccepted{Size: 9, Reason: "r", RemainsRoot: root(9)}, "between two sizes"},
		{loss(9, 4, 1, "r", "a"), ""}, // nobody is administrator
		{loss(9, 4, 1, "r", "a"), "accepted before"},
		{audit.PersonAdded{Person: "a", Name: "Ada Holt"}, ""},
		{audit.PersonAdded{Person: "b", Name: "Ben Orr"}, ""},
		{audit.RolesGiven{Person: "a", Roles: audit.AllRoles()}, ""},
		{loss(9, 5, 2, "r", "b"), "only an administrator"},
		{loss(9, 5, 2, "r", "a"), ""},
	} {
		if got := apply(c.ev); !strings.Contains(got, c.refused) || c.refused == "" && got != "" {
			t.Errorf("%+v: got %q, want %q", c.ev, got, c.refused)
		}
	}
	s, err := Restored(s.Snapshot(), nil)
	if err != nil {
		t.Fatal(err)
	}
	if got := s.Losses(); len(got) != 2 || got[1].Remains != 5 {
		t.Errorf("got %+v, want the two that were not refused", got)
	}
}
