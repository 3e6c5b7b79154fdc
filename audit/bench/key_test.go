package bench

import (
	"strings"
	"testing"
	"time"

	"witnessmark/audit"
)

func TestShop_KeyChanges(t *testing.T) {
	s, seq := NewShop(nil), uint64(0)
	apply := func(from, to, reason string) string {
		seq++
		return s.Apply(audit.Entry{Seq: seq, At: time.Unix(int64(seq), 0), Event: audit.KeyChanged{OldKey: from, NewKey: to, Reason: reason}}).Refused
	}
	for _, c := range []struct{ from, to, reason, refused, signing string }{
		{"s+1+a", "s+2+b", " ", "needs a reason", ""},
		{"s+1+a", "s+1+a", "r", "another one", ""},
		{"s+1+a", "z+2+b", "r", "of the same ledger", ""},
		{"s+1+a", "s+2+b", "r", "", "s+2+b"},
		{"s+1+a", "s+3+c", "r", "changed meanwhile", "s+2+b"},
		{"s+2+b", "s+3+c", "r", "", "s+3+c"},
	} {
		got := apply(c.from, c.to, c.reason)
		if !strings.Contains(got, c.refused) || c.refused == "" && got != "" || s.SigningKey() != c.signing {
			t.Errorf("%s to %s: got %q and key %s, want %q and %s", c.from, c.to, got, s.SigningKey(), c.refused, c.signing)
		}
	}
}
