package daemon

import (
	"context"
	"reflect"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"witnessmark/audit"
)

// TestF21_ClockSteps sets the clock back and forth between the pulls at a joint, as a computer without a clock of its own does
// when it finds the time: the order is that of the pulls, on the bench and in the database, and the ledger fits. Only a reading
// of a day on which the calibration has ended is said to be out of calibration, and a joint on a bench tells of a step.
func TestF21_ClockSteps(t *testing.T) {
	t.Parallel()
	w, port := newWrench(t)
	data := t.TempDir()
	var off atomic.Int64
	d := startTelling(t, data, shopFile(port), t.Output(), func(o *Options) {
		o.Clock = func() time.Time { return epoch.Add(time.Duration(off.Load())) }
	})
	onBench(t, client(t, d))
	updates, stop, err := d.Watch("1")
	if err != nil {
		t.Fatal(err)
	}
	defer stop()
	<-updates // the present state
	steps := []time.Duration{-time.Hour, 400 * 24 * time.Hour, -90 * 24 * time.Hour, -time.Millisecond}
	var said []string
	for _, step := range steps {
		off.Store(int64(step))
		w.pull(t, 30, 40)
		for _, m := range (<-updates).Mark {
			said = append(said, strings.Join(append([]string{m.Fastener, string(m.Verdict)}, m.Flags...), " "))
		}
	}
	if want := []string{"1 pass", "2 pass wrench out of calibration", "3 pass", "4 pass"}; !reflect.DeepEqual(said, want) {
		t.Errorf("got %q, want %q", said, want)
	}
	if err := d.noteClock(t.Context(), audit.ClockSet{By: -time.Hour.Milliseconds()}); err != nil {
		t.Fatal(err)
	}
	committed(t, d)
	j := onSheet(t, d, "E-4711")
	if len(j.Clock) != 1 || j.Clock[0].Milliseconds != -3_600_000 || !slices.ContainsFunc(j.Findings, func(f string) bool {
		return strings.HasPrefix(f, "the clock was set back by 1h0m0s")
	}) {
		t.Errorf("got steps %+v and %q, want an hour back", j.Clock, j.Findings)
	}
	stopDaemon(t, d)
	stored := counters(t, data)
	lost, doubled, disordered := missing([]int64{1, 2, 3, 4}, stored)
	t.Logf("FAULT F21 tries=%d acknowledged=4 stored=%d lost=%d doubled=%d disordered=%d", len(steps), len(stored), lost, doubled, disordered)
	if lost+doubled+disordered > 0 || len(stored) != len(steps) {
		t.Errorf("got %v, want 1 to 4 in this order", stored)
	}
	atRest(t, data, time.Minute, func(ctx context.Context, conn *pgx.Conn) error {
		verified(t, ctx, conn.Config().ConnString(), data)
		return nil
	})
}
