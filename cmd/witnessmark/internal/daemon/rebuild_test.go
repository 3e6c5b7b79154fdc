package daemon

import (
	"bytes"
	"os"
	"testing"

	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
)

// A name that was blanked does not come back with the journal, and what that person did stands as before.
func TestRebuildJournal_WithoutAForgottenName(t *testing.T) {
	w, port := newWrench(t)
	data, file := t.TempDir(), shopFile(port)
	d := start(t, data, file)
	c := client(t, d)
	onBench(t, c)
	w.pull(t, 30, 40)
	if _, err := c.Forget(t.Context(), control.Forget{Who: "Ada Holt", Reason: "over", Person: "Bo Lind"}); err != nil {
		t.Fatal(err)
	}
	committed(t, d)
	var before bench.View
	d.live.look(func(s *bench.Shop) { before = s.View("1") })
	stopDaemon(t, d)
	if err := os.Remove(Folder(data).Journal()); err != nil {
		t.Fatal(err)
	}
	o, _, err := options(data, file, t.Output())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := RebuildJournal(t.Context(), o); err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(Folder(data).Journal())
	if err != nil || bytes.Contains(text, []byte("Ada Holt")) || !bytes.Contains(text, []byte("Bo Lind")) {
		t.Errorf("got %d bytes, %v, want a journal without the name that was blanked", len(text), err)
	}
	if err := os.Remove(Folder(data).Snapshot()); err != nil { // so that all of the journal is worked out
		t.Fatal(err)
	}
	d = start(t, data, file)
	d.live.look(func(s *bench.Shop) {
		people := s.People()
		if v := s.View("1"); v.Left != before.Left || len(people) != 2 || people[0].Name != "" {
			t.Errorf("got %d left and %+v, want %d and the first of two people without a name", v.Left, people, before.Left)
		}
	})
	w.pull(t, 30, 40)
	onceInOrder(t, d, w)
}
