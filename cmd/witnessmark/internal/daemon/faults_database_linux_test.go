package daemon

import (
	"context"
	"fmt"
	"os"
	"slices"
	"strconv"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// tries is how often something is tried: as often as WITNESSMARK_FAULT_TRIES says, else n times.
func tries(n int) int {
	if asked, err := strconv.Atoi(os.Getenv("WITNESSMARK_FAULT_TRIES")); err == nil {
		return asked
	}
	return n
}

// superuser is a connection to the private database that may do everything.
func superuser(t *testing.T, d *Daemon) *pgx.Conn {
	t.Helper()
	url, err := d.base.address(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close(context.Background()) })
	return conn
}

func execute(t *testing.T, conn *pgx.Conn, statements ...string) {
	t.Helper()
	for _, sql := range statements {
		if _, err := conn.Exec(t.Context(), sql); err != nil {
			t.Fatalf("%s: %v", sql, err)
		}
	}
}

// onceInOrder holds the readings in the database against how many were acknowledged: each once, in the order of the pulls, and
// the whole record as it was signed.
func onceInOrder(t *testing.T, d *Daemon, w *wrench) {
	t.Helper()
	committed(t, d)
	rows, err := superuser(t, d).Query(t.Context(), "SELECT counter FROM witnessmark.reading ORDER BY seq")
	if err != nil {
		t.Fatal(err)
	}
	got, err := pgx.CollectRows(rows, pgx.RowTo[int64])
	if err != nil {
		t.Fatal(err)
	}
	var want []int64
	for i := range w.count {
		want = append(want, i+1)
	}
	if !slices.Equal(got, want) {
		t.Errorf("got the readings %v, want 1 to %d, each once and in order", got, w.count)
	}
	(&visitor{t: t, d: d}).recordHolds()
}

// under pulls the wrench until what is done meanwhile has ended.
func under(t *testing.T, w *wrench, do func()) {
	t.Helper()
	ctx, stop := context.WithCancel(t.Context())
	var load sync.WaitGroup
	load.Go(func() {
		for ctx.Err() == nil {
			if err := w.Send(t.Context(), w.next(30, 40)); err != nil {
				t.Error(err)
				return
			}
		}
	})
	do()
	stop()
	load.Wait()
}

// The database is away; every pull is acknowledged, and all drain in order when it is back.
func TestF12_DatabaseAwayAndBack(t *testing.T) {
	w, port := newWrench(t)
	d := start(t, t.TempDir(), shopFile(port))
	onBench(t, client(t, d))
	committed(t, d)
	lines := tries(300)
	open := closeDatabase(t, d)
	for range lines {
		w.pull(t, 30, 40)
	}
	if at := d.Status(); at.Position >= at.Entries || at.Database == "up" {
		t.Errorf("got %+v, want the database away", at)
	}
	open()
	onceInOrder(t, d, w)
	t.Logf("FAULT F12 readings=%d", w.count)
}

// The server processes of the daemon are stopped (SIGSTOP) somewhere around a COMMIT and go on later, or never: ended.
func TestF24_StoppedBackend(t *testing.T) {
	w, port := newWrench(t)
	d := start(t, t.TempDir(), shopFile(port))
	onBench(t, client(t, d))
	committed(t, d)
	conn := superuser(t, d)
	stopped := 0
	for try := range tries(4) {
		under(t, w, func() {
			time.Sleep(time.Duration(20+try%30) * time.Millisecond)
			for _, pid := range backends(t, conn) {
				stopped++
				if err := syscall.Kill(pid, syscall.SIGSTOP); err != nil {
					t.Error(err)
				}
				time.Sleep(100 * time.Millisecond)
				if try%2 == 1 {
					execute(t, conn, fmt.Sprintf("SELECT pg_terminate_backend(%d)", pid))
				}
				if err := syscall.Kill(pid, syscall.SIGCONT); err != nil {
					t.Error(err)
				}
			}
		})
	}
	onceInOrder(t, d, w)
	t.Logf("FAULT F24 stops=%d readings=%d", stopped, w.count)
}

// backends are the server processes that write for the daemon.
func backends(t *testing.T, conn *pgx.Conn) []int {
	t.Helper()
	rows, err := conn.Query(t.Context(), "SELECT pid FROM pg_locks WHERE locktype = 'advisory' AND pid <> pg_backend_pid()")
	if err != nil {
		t.Fatal(err)
	}
	pids, err := pgx.CollectRows(rows, pgx.RowTo[int])
	if err != nil {
		t.Fatal(err)
	}
	return pids
}

// The tables change and are locked while readings come in.
func TestF28_TablesChangeUnderLoad(t *testing.T) {
	w, port := newWrench(t)
	d := start(t, t.TempDir(), shopFile(port))
	onBench(t, client(t, d))
	committed(t, d)
	conn := superuser(t, d)
	under(t, w, func() {
		for range tries(3) {
			execute(t, conn, "ALTER TABLE witnessmark.reading ADD COLUMN f28 text", "ALTER TABLE witnessmark.mark ALTER COLUMN stage SET STATISTICS 200",
				"BEGIN", "LOCK TABLE witnessmark.reading IN ACCESS EXCLUSIVE MODE", "SELECT pg_sleep(0.3)", "COMMIT", // one: two would wait for each other
				"ALTER TABLE witnessmark.reading DROP COLUMN f28")
		}
	})
	onceInOrder(t, d, w)
	t.Logf("FAULT F28 changes=%d readings=%d", tries(3), w.count)
}

// Many pages wait for a table that is locked; readings go into the database all the same.
func TestF29_SlowPages(t *testing.T) {
	w, port := newWrench(t)
	d := start(t, t.TempDir(), shopFile(port))
	build, _, ada := classABuild(t, d, w)
	conn := superuser(t, d)
	execute(t, conn, "BEGIN", "LOCK TABLE witnessmark.check_answer IN ACCESS EXCLUSIVE MODE")
	var pages sync.WaitGroup
	var answered atomic.Int64
	for i := range 12 {
		pages.Go(func() {
			ada.do("GET", []string{"/claims?q=E-4711", fmt.Sprintf("/builds/%d", build.ID)}[i%2], nil)
			answered.Add(1)
		})
	}
	for range 20 {
		w.pull(t, 30, 40)
	}
	committed(t, d)
	if n := answered.Load(); n > 0 {
		t.Errorf("got %d pages that did not wait, want all twelve stuck: else nothing is shown", n)
	}
	execute(t, conn, "COMMIT")
	pages.Wait()
	onceInOrder(t, d, w)
	t.Log("FAULT F29 pages=12 readings=20")
}

// The session that holds the shop's lock is ended while it writes: the daemon takes the lock again, and there is one record.
func TestF31_TheLockIsLost(t *testing.T) {
	w, port := newWrench(t)
	d := start(t, t.TempDir(), shopFile(port))
	onBench(t, client(t, d))
	committed(t, d)
	conn := superuser(t, d)
	ended := 0
	under(t, w, func() {
		for range tries(8) {
			for _, pid := range backends(t, conn) {
				execute(t, conn, fmt.Sprintf("SELECT pg_terminate_backend(%d)", pid))
				ended++
			}
			time.Sleep(30 * time.Millisecond)
		}
	})
	if ended == 0 {
		t.Error("no session held the lock: nothing was tried")
	}
	onceInOrder(t, d, w)
	t.Logf("FAULT F31 ended=%d readings=%d", ended, w.count)
}
