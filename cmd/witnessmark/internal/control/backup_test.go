package control

import (
	"strings"
	"testing"
	"time"
)

func TestCopyJournal(t *testing.T) {
	_, c := open(t, t.TempDir(), time.Hour)
	var whole strings.Builder
	if err := c.CopyJournal(t.Context(), &whole); err != nil || whole.String() != strings.Repeat("entry ", 10000) {
		t.Errorf("got %d bytes, %v, want them all", whole.Len(), err)
	}
	var half strings.Builder
	if err := c.CopyJournal(t.Context(), &half); err == nil || !strings.Contains(err.Error(), "in the middle") {
		t.Errorf("a copy that breaks off: got %v, want it told", err)
	}
}
