package daemon

import (
	"context"
	"fmt"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"witnessmark/cmd/witnessmark/internal/control"
)

const (
	leakWrenches = 16 // pull at once
	// leakSlack is what may wait for the database at a moment: see mostRecent.
	leakSlack = 16 << 20
)

// TestF22_NothingGrows has a daemon take many readings, which no joint waits for, and holds its heap and its goroutines at
// the end against those after six tenths, when all that is remembered up to a limit has reached that (10 000 readings without a
// joint; of each wrench, 20 bytes for each of as many). The journal is mapped memory and no part of the heap.
func TestF22_NothingGrows(t *testing.T) {
	t.Parallel()
	readings := uint64(faultTries(t, 20_000))
	data := folder(t)
	var ports []string
	var wrenches []*wrench
	for i := range leakWrenches {
		w, port := wrenchNamed(t, fmt.Sprintf("TW-%02d", i+1))
		wrenches, ports = append(wrenches, w), append(ports, port)
	}
	p := launch(t, data, strings.Join(ports, " "), ordinary+"=1")
	c := control.NewClient(Folder(data).Socket())
	defer c.Close()
	var loads []*load
	for _, w := range wrenches {
		loads = append(loads, newLoad(t, w))
	}
	early := p.footprint(t, c, readings*6/10)
	late := p.footprint(t, c, readings)
	drain(p)
	acked := 0
	for _, l := range loads {
		l.stop()
		l.over.Wait()
		acked += len(l.acked)
	}
	patiently(t, c, func(st control.Status) bool { return st.Position == st.Entries })
	p.kill()
	stored, different := storedReadings(t, data)
	t.Logf("FAULT F22 tries=1 acknowledged=%d stored=%d lost=%d doubled=%d heap-early-KiB=%d heap-late-KiB=%d goroutines-early=%d goroutines-late=%d",
		acked, stored, max(0, acked-different), stored-different, early.heap>>10, late.heap>>10, early.goroutines, late.goroutines)
	if different < acked || stored != different {
		t.Errorf("got %d readings stored, %d of them different, want the %d that were acknowledged once", stored, different, acked)
	}
	if late.heap > early.heap+leakSlack || late.goroutines > early.goroutines+leakWrenches/2 {
		t.Errorf("got %+v after %d readings and %+v after %d, want no growth", late, readings, early, readings*6/10)
	}
}

// footprint is what a process needs once the collector has been.
type footprint struct{ heap, goroutines int64 }

// footprint waits until the database has so many entries, and asks.
func (p *program) footprint(t *testing.T, c *control.Client, entries uint64) (f footprint) {
	t.Helper()
	for reached := false; !reached; {
		select {
		case <-p.lines: // what it says of its position
		case <-time.After(10 * time.Millisecond):
		}
		st, err := c.Status(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		reached = st.Position >= entries
	}
	p.signal(syscall.SIGUSR1)
	p.until(func(line string) bool {
		n, _ := fmt.Sscanf(line, "footprint %d %d", &f.heap, &f.goroutines)
		return n == 2
	})
	return f
}

// patiently waits for the daemon to say the right thing of itself, however long that takes.
func patiently(t *testing.T, c *control.Client, right func(control.Status) bool) control.Status {
	t.Helper()
	for {
		st, err := c.Status(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if right(st) {
			return st
		}
		time.Sleep(10 * time.Millisecond)
	}
}

// storedReadings is how many readings the database has, and how many different ones.
func storedReadings(t *testing.T, data string) (all, different int) {
	t.Helper()
	atRest(t, data, 10*time.Minute, func(ctx context.Context, conn *pgx.Conn) error {
		return conn.QueryRow(ctx, "SELECT count(*), count(DISTINCT (wrench, counter)) FROM witnessmark.reading").Scan(&all, &different)
	})
	return all, different
}
