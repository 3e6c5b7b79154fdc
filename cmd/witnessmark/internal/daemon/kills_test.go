package daemon

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/store"
	"witnessmark/store/cluster"
	"witnessmark/store/ledger"
)

// faultTries is how often a fault is tried: a few in an ordinary run, as many as deploy/faults/run asks for there.
func faultTries(t *testing.T, few int) int {
	t.Helper()
	asked := os.Getenv("WITNESSMARK_FAULT_TRIES")
	if asked == "" {
		return few
	}
	n, err := strconv.Atoi(asked)
	if err != nil || n < 1 {
		t.Fatalf("WITNESSMARK_FAULT_TRIES: got %q, want a number of tries", asked)
	}
	return n
}

// load is a wrench that pulls without a pause, and what of it was acknowledged.
type load struct {
	wrench *wrench
	stop   context.CancelFunc
	over   sync.WaitGroup
	pause  atomic.Int64 // after each pull, a time.Duration
	acked  []int64      // counters, of the sender until it is over
}

func newLoad(t *testing.T, w *wrench) *load {
	ctx, stop := context.WithCancel(t.Context())
	l := &load{wrench: w, stop: stop}
	l.over.Go(func() {
		for ctx.Err() == nil {
			if w.Send(ctx, w.next(30, 35)) == nil {
				l.acked = append(l.acked, w.count)
			}
			time.Sleep(time.Duration(l.pause.Load()))
		}
	})
	return l
}

// drain reads what a program says, so that it never waits for a reader.
func drain(p *program) {
	go func() {
		for range p.lines {
		}
	}()
}

// TestF13_KilledUnderLoad kills the daemon at random moments while a wrench pulls without a pause.
func TestF13_KilledUnderLoad(t *testing.T) {
	t.Parallel()
	tries := faultTries(t, 6)
	w, port := newWrench(t)
	data := folder(t)
	l := newLoad(t, w)
	moments := rand.New(rand.NewPCG(13, 1))
	for range tries {
		p := launch(t, data, port)
		drain(p)
		time.Sleep(time.Duration(20+moments.IntN(400)) * time.Millisecond)
		p.kill()
	}
	settled(t, "F13", tries, data, port, l)
}

// TestF23_DatabaseEndedUnderLoad ends the PostgreSQL server without a clean shutdown while a wrench pulls without a pause.
func TestF23_DatabaseEndedUnderLoad(t *testing.T) {
	t.Parallel()
	tries := faultTries(t, 4)
	w, port := newWrench(t)
	data := folder(t)
	p := launch(t, data, port)
	drain(p)
	l := newLoad(t, w)
	moments := rand.New(rand.NewPCG(23, 1))
	for range tries {
		time.Sleep(time.Duration(100+moments.IntN(900)) * time.Millisecond)
		if pid := serverPID(data); pid != 0 {
			if err := syscall.Kill(pid, syscall.SIGQUIT); err != nil && !errors.Is(err, syscall.ESRCH) {
				t.Fatal(err)
			}
		}
	}
	p.kill()
	settled(t, "F23", tries, data, port, l)
}

func folder(t *testing.T) string {
	t.Helper()
	data := filepath.Join(t.TempDir(), "data")
	if err := os.Mkdir(data, 0o700); err != nil {
		t.Fatal(err)
	}
	return data
}

// serverPID is that of the private server, 0 while none runs.
func serverPID(data string) (pid int) {
	text, err := os.ReadFile(filepath.Join(Folder(data).Postgres(), "postmaster.pid"))
	if err == nil {
		_, _ = fmt.Sscan(string(text), &pid) // half a file is no server yet
	}
	return pid
}

// settled ends the load, lets a new daemon bring everything in, and holds the database against what was acknowledged.
func settled(t *testing.T, fault string, tries int, data, port string, l *load) {
	t.Helper()
	p := launch(t, data, port)
	drain(p)
	time.Sleep(300 * time.Millisecond)
	l.stop()
	l.over.Wait()
	c := control.NewClient(Folder(data).Socket())
	defer c.Close()
	for late := time.Now().Add(time.Minute); ; time.Sleep(50 * time.Millisecond) {
		st, err := c.Status(t.Context())
		if err == nil && st.Position == st.Entries {
			break
		}
		if time.Now().After(late) {
			t.Fatalf("got %+v, %v, want all in the database: %s", st, err, p.log())
		}
	}
	p.kill()
	stored := counters(t, data)
	lost, doubled, disordered := missing(l.acked, stored)
	t.Logf("FAULT %s tries=%d acknowledged=%d stored=%d lost=%d doubled=%d disordered=%d", fault, tries, len(l.acked), len(stored), lost, doubled, disordered)
	if len(l.acked) < tries {
		t.Errorf("got %d readings acknowledged in %d tries, want a load", len(l.acked), tries)
	}
	if lost+doubled+disordered > 0 {
		t.Errorf("got %d lost, %d doubled, %d out of order, want none", lost, doubled, disordered)
	}
}

// missing counts what was acknowledged and is not stored, what is stored twice, and what stands before an earlier one.
func missing(acked, stored []int64) (lost, doubled, disordered int) {
	times := map[int64]int{}
	for i, n := range stored {
		times[n]++
		if i > 0 && n < stored[i-1] {
			disordered++
		}
	}
	for _, n := range acked {
		if times[n] == 0 {
			lost++
		}
	}
	for _, k := range times {
		doubled += k - 1
	}
	return lost, doubled, disordered
}

// atRest opens the record of a daemon that has ended, verifies its ledger, and gives it to look.
func atRest(t *testing.T, data string, within time.Duration, look func(context.Context, *pgx.Conn) error) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), within)
	defer cancel()
	pg, err := cluster.Start(ctx, Folder(data).Postgres())
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := pg.Stop(ctx); err != nil {
			t.Error(err)
		}
	}()
	verified(t, ctx, pg.ConnString(), data)
	conn, err := pgx.Connect(ctx, pg.ConnString())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(ctx)
	if err := look(ctx, conn); err != nil {
		t.Fatal(err)
	}
}

// counters are the wrench's own numbers of the readings in the database, in the order of the journal.
func counters(t *testing.T, data string) (all []int64) {
	t.Helper()
	atRest(t, data, time.Minute, func(ctx context.Context, conn *pgx.Conn) error {
		rows, err := conn.Query(ctx, "SELECT counter FROM witnessmark.reading ORDER BY seq")
		if err != nil {
			return err
		}
		all, err = pgx.CollectRows(rows, pgx.RowTo[int64])
		return err
	})
	return all
}

// verified verifies a database against the checkpoint outside it.
func verified(t *testing.T, ctx context.Context, url, data string) {
	t.Helper()
	outside, err := ledger.ReadOutside(Folder(data).Outside())
	if err != nil {
		t.Fatal(err)
	}
	var kept []store.Kept
	if outside != nil { // else it was ended between its first commit and the checkpoint outside
		kept = append(kept, store.Kept{Where: "checkpoint", Note: outside})
	}
	if _, err := verify(t, ctx, url, data, kept...); err != nil {
		t.Errorf("verify: %v", err)
	}
}

// verify verifies a database against checkpoints, with the key of a data folder.
func verify(t testing.TB, ctx context.Context, url, data string, kept ...store.Kept) (store.Verified, error) {
	t.Helper()
	r, err := store.OpenReader(ctx, url, "")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	key, err := os.ReadFile(Folder(data).Key() + ".pub")
	if err != nil {
		t.Fatal(err)
	}
	return r.Verify(ctx, strings.TrimSpace(string(key)), kept, nil)
}
