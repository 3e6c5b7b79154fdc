package show

import (
	"strings"
	"testing"
	"time"

	"witnessmark/audit"
)

func TestDate_DaysAndInstants(t *testing.T) {
	for text, want := range map[string]struct {
		when string
		day  bool
	}{
		"2026-03-31":                {"2026-03-31 00:00:00Z", true},
		"2026-03-31T14:00:00+02:00": {"2026-03-31 12:00:00Z", false}, // the offset of RFC 3339, 5.8
	} {
		got, day, err := Date(text)
		if err != nil || audit.When(got) != want.when || day != want.day {
			t.Errorf("%s: got %s, day %v, %v, want %+v", text, audit.When(got), day, err, want)
		}
	}
	for _, text := range []string{"", "31.3.2026", "2026-02-30", "2026-03-31 14:00"} {
		if got, _, err := Date(text); err == nil || !strings.Contains(err.Error(), "write it like 2026-03-31") {
			t.Errorf("%q: got %s, %v, want a sentence that says how to write it", text, got.Format(time.RFC3339), err)
		}
	}
}
