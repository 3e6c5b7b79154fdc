package control

import (
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestSocketHandler(t *testing.T) {
	path := filepath.Join(t.TempDir(), "control.sock")
	l, err := Listen(path)
	if err != nil {
		t.Fatal(err)
	}
	d := &desk{}
	s := &http.Server{Handler: SocketHandler(d)}
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
	in := NewPassword{Who: "Ada Holt", Password: "three words of no kin"}
	if out, err := c.GivePassword(t.Context(), in); err != nil || d.last() != in || out != (PasswordGiven{"Ada Holt", true}) {
		t.Errorf("got %+v, %v and asked %v, want the password given", out, err, d.last())
	}
	if status, err := c.Status(t.Context()); err != nil || status.Shop != "north" {
		t.Errorf("got %v, %v, want the rest served too", status, err)
	}
}

// What the network is served with Handler knows neither the journal nor passwords.
func TestSocketHandler_NotOverTheNetwork(t *testing.T) {
	d, c := open(t, t.TempDir(), time.Hour)
	var out strings.Builder
	if err := c.CopyJournal(t.Context(), &out); err == nil || out.Len() > 0 {
		t.Errorf("got %d bytes, %v, want nothing", out.Len(), err)
	}
	if _, err := c.GivePassword(t.Context(), NewPassword{Who: "Ada Holt"}); err == nil || d.last() != nil {
		t.Errorf("got %v, and asked %v, want it refused and nothing asked", err, d.last())
	}
}
