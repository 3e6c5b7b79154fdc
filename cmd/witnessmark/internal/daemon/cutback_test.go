package daemon

import (
	"encoding/binary"
	"os"
	"strings"
	"testing"
)

// rotHead turns a bit in the head page of the journal's last write. The number of the write is in bytes 64 to 71 of the page.
func rotHead(t *testing.T, data string) {
	t.Helper()
	path := Folder(data).Journal()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	page, number := os.Getpagesize(), func(at int) uint64 { return binary.NativeEndian.Uint64(b[at+64:]) }
	at := 0
	if number(page) > number(0) {
		at = page
	}
	b[at+70] ^= 1
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
}

func TestF16_DaemonWithRottenHead(t *testing.T) {
	t.Parallel()
	w, port := newWrench(t)
	data := t.TempDir()
	file := shopFile(port)
	d := start(t, data, file)
	w.pull(t, 30, 40)
	w.pull(t, 31, 40)
	committed(t, d)
	stopDaemon(t, d)
	rotHead(t, data)
	t.Run("what the database has and the journal lost is named, and nothing is recorded", func(t *testing.T) {
		for range 2 { // the damage is still there at the next start
			if err := startError(t, data, file); err == nil || !strings.Contains(err.Error(), "entries 3 to 3 are gone from it, and the database has them: let witnessmark ledger rebuild-journal") {
				t.Errorf("got %v, want the lost entry named", err)
			}
		}
	})
	t.Run("what nobody has is told, and work goes on", func(t *testing.T) {
		data := t.TempDir()
		stopDaemon(t, start(t, data, file))
		d := start(t, data, away(file))
		w.pull(t, 32, 40)
		stopDaemon(t, d)
		rotHead(t, data)
		var log strings.Builder
		d = startTelling(t, data, file, &log)
		w.Repeat()
		w.pull(t, 33, 40)
		committed(t, d)
		stopDaemon(t, d)
		if !strings.Contains(log.String(), "a page of the journal was damaged") {
			t.Errorf("got no word of it: %s", log.String())
		}
		if page, err := os.ReadFile(Folder(data).Journal() + ".damaged"); err != nil || len(page) != os.Getpagesize() {
			t.Errorf("got %d bytes set aside, %v, want the page", len(page), err)
		}
	})
}
