package control

import (
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestCopyJournal(t *testing.T) {
	path := filepath.Join(t.TempDir(), "control.sock")
	l, err := Listen(path)
	if err != nil {
		t.Fatal(err)
	}
	s := &http.Server{Handler: SocketHandler(&desk{})}
	done := make(chan error, 1)
	go func() { done <- s.Serve(l) }()
	c := NewClient(path)
	defer func() { c.Close(); s.Close(); <-done }()
	var whole strings.Builder
	if err := c.CopyJournal(t.Context(), &whole); err != nil || whole.String() != strings.Repeat("entry ", 10000) {
		t.Errorf("got %d bytes, %v, want them all", whole.Len(), err)
	}
	var half strings.Builder
	if err := c.CopyJournal(t.Context(), &half); err == nil || !strings.Contains(err.Error(), "in the middle") {
		t.Errorf("a copy that breaks off: got %v, want it told", err)
	}
	if status, err := c.Status(t.Context()); err != nil || status.Shop != "north" {
		t.Errorf("got %v, %v, want the rest served too", status, err)
	}
}

// What the network is served with Handler does not know the journal.
func TestCopyJournal_NotOverTheNetwork(t *testing.T) {
	_, c := open(t, t.TempDir(), time.Hour)
	var out strings.Builder
	if err := c.CopyJournal(t.Context(), &out); err == nil || out.Len() > 0 {
		t.Errorf("got %d bytes, %v, want nothing", out.Len(), err)
	}
}
