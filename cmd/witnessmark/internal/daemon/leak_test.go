package daemon

import (
	"context"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/store/cluster"
)

// leakWrenches is how many wrenches pull at once.
const leakWrenches = 16

// TestF22_NothingGrows has a daemon take many readings, which no joint waits for, and holds its heap and its goroutines near
// the end against those near the beginning. The journal is mapped memory and no part of the heap.
func TestF22_NothingGrows(t *testing.T) {
	readings := uint64(faultTries(t, 20_000))
	data := folder(t)
	var ports []string
	var wrenches []*wrench
	for i := range leakWrenches {
		w, port := wrenchNamed(t, fmt.Sprintf("TW-%02d", i+1))
		wrenches, ports = append(wrenches, w), append(ports, port)
	}
	p := launch(t, data, strings.Join(ports, " "))
	drain(p)
	c := control.NewClient(Folder(data).Socket())
	defer c.Close()
	var loads []*load
	for _, w := range wrenches {
		loads = append(loads, newLoad(t, w))
	}
	enough := func(n uint64) func(control.Status) bool {
		return func(st control.Status) bool { return st.Entries >= n }
	}
	early := leanest(t, c, enough(readings/5), enough(readings*3/10))
	late := leanest(t, c, enough(readings*9/10), enough(readings))
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
	if late.heap > early.heap*5/4+2<<20 || late.goroutines > early.goroutines+leakWrenches/2 {
		t.Errorf("got %+v after %d readings and %+v after %d, want no growth", late, readings, early, readings/4)
	}
}

// footprint is the least that a process was seen to need.
type footprint struct{ heap, goroutines int64 }

// leanest looks again and again from one moment to another: between two rounds of the collector the heap holds what is dead
// already, so the least is the nearest to what lives.
func leanest(t *testing.T, c *control.Client, from, to func(control.Status) bool) footprint {
	t.Helper()
	least := footprint{math.MaxInt64, math.MaxInt64}
	for st := patiently(t, c, from); ; {
		_, text := fetch(t, st.Listen, "/metrics")
		least.heap = min(least.heap, figure(t, text, "go_memstats_heap_alloc_bytes"))
		least.goroutines = min(least.goroutines, figure(t, text, "go_goroutines"))
		if to(st) {
			return least
		}
		time.Sleep(20 * time.Millisecond)
		st = patiently(t, c, func(control.Status) bool { return true })
	}
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

func figure(t *testing.T, text, name string) int64 {
	t.Helper()
	for line := range strings.Lines(text) {
		if value, is := strings.CutPrefix(line, name+" "); is {
			f, err := strconv.ParseFloat(strings.TrimSpace(value), 64)
			if err != nil {
				t.Fatal(err)
			}
			return int64(f)
		}
	}
	t.Fatalf("got no figure %s", name)
	return 0
}

// storedReadings is how many readings the database has, and how many different ones.
func storedReadings(t *testing.T, data string) (all, different int) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Minute)
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
	if err := conn.QueryRow(ctx, "SELECT count(*), count(DISTINCT (wrench, counter)) FROM witnessmark.reading").Scan(&all, &different); err != nil {
		t.Fatal(err)
	}
	return all, different
}
