package daemon

import (
	"context"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"witnessmark/store/cluster"
)

// The server is not there at the start, nor at the next one, and much is waiting when it comes for the first time: everything
// drains in order, without a restart. Then it is away once more in the middle of a shift.
func TestF26_DatabaseAwayUntilMuchIsWaiting(t *testing.T) {
	sockets, err := os.MkdirTemp("", "sockets-") // a test's own folder is closed to the server's user
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(sockets) })
	if err := os.Chmod(sockets, 0o777); err != nil {
		t.Fatal(err)
	}
	folder := filepath.Join(t.TempDir(), "pg")
	serve := func() (stop func()) {
		pg, err := cluster.Start(t.Context(), folder, "fsync=off", "unix_socket_directories=/proc/self/fd/3, "+sockets, "unix_socket_permissions=0777")
		if err != nil {
			t.Fatal(err)
		}
		return func() {
			if err := pg.Stop(context.WithoutCancel(t.Context())); err != nil {
				t.Error(err)
			}
		}
	}
	w, port := newWrench(t)
	file := strings.Replace(shopFile(port), "listen:", "database: \"postgres://witnessmark@/postgres?host="+url.QueryEscape(sockets)+"\"\nlisten:", 1)
	data, lines := t.TempDir(), tries(300)
	waiting := func(d *Daemon) {
		t.Helper()
		if at := d.Status(); at.Database == "up" || at.Entries-at.Position < uint64(lines/3) {
			t.Errorf("got %+v, want the database away and %d entries that wait", at, lines/3)
		}
	}
	d := start(t, data, file)
	onBench(t, client(t, d))
	for i := range lines {
		if i == lines/2 {
			stopDaemon(t, d)
			d = start(t, data, file)
		}
		w.pull(t, 30, 40)
	}
	waiting(d)
	stop := serve()
	onceInOrder(t, d, w)
	stop()
	for range lines / 3 {
		w.pull(t, 30, 40)
	}
	waiting(d)
	defer serve()()
	onceInOrder(t, d, w)
	t.Logf("FAULT F26 readings=%d", w.count)
	stopDaemon(t, d)
}
