package daemon

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/rs/zerolog"

	"witnessmark/store/ledger"
)

func TestCopier(t *testing.T) {
	dir := t.TempDir()
	key, err := ledger.LoadOrCreateKey(filepath.Join(dir, "key"), "witnessmark/s1")
	if err != nil {
		t.Fatal(err)
	}
	from, to := filepath.Join(dir, "checkpoint"), filepath.Join(dir, "witness.txt")
	publish := func(size int64) {
		signed, err := ledger.Checkpoint{Origin: "witnessmark/s1", Size: size}.Sign(key.Signer)
		if err != nil {
			t.Fatal(err)
		}
		if err := ledger.WriteOutside(from, signed); err != nil {
			t.Fatal(err)
		}
	}
	// An ended context has it copy once, as at the end of a daemon.
	ended, end := context.WithCancel(t.Context())
	end()
	var log strings.Builder
	copied := func(c *copier, want int) {
		t.Helper()
		c.run(ended)
		if notes, torn, err := ledger.ReadNotes(to); err != nil || len(notes) != want || len(torn) != 0 {
			t.Errorf("got %d checkpoints, torn %v, %v, want %d", len(notes), torn, err, want)
		}
	}
	c := &copier{from: from, to: to, log: zerolog.New(&log)}
	copied(c, 0) // there is none yet
	publish(3)
	copied(c, 1)
	copied(c, 1) // nothing new
	publish(5)
	copied(&copier{from: from, to: to}, 2) // after a start
	copied(&copier{from: from, to: to}, 2)
	if err := os.RemoveAll(to); err != nil {
		t.Fatal(err)
	}
	c.to = filepath.Join(to, "below", "nothing")
	publish(7)
	c.run(ended)
	if !strings.Contains(log.String(), "not copied to the other disk") {
		t.Errorf("got log %q, want the trouble told", log.String())
	}
}
