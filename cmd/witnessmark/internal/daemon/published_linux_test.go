package daemon

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/rs/zerolog"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/store"
	"witnessmark/store/cluster"
	"witnessmark/store/ledger"
)

// newestNote is the newest signed checkpoint in a database, and how often the shop was taken over.
func newestNote(ctx context.Context, conn *pgx.Conn, shop string) (note []byte, epoch int64, err error) {
	err = conn.QueryRow(ctx, `SELECT c.note, h.epoch FROM witnessmark.ledger_head h
		JOIN witnessmark.checkpoint c ON c.shop = h.shop AND c.size = h.size WHERE h.shop = $1`, shop).Scan(&note, &epoch)
	return note, epoch, err
}

func outsideIs(t *testing.T, file string, want []byte) {
	t.Helper()
	var got []byte
	for late := time.Now().Add(time.Minute); time.Now().Before(late); time.Sleep(5 * time.Millisecond) {
		var err error
		if got, err = ledger.ReadOutside(file); err != nil {
			t.Fatal(err)
		}
		if string(got) == string(want) {
			return
		}
	}
	t.Errorf("outside lies\n%s\nwant\n%s", got, want)
}

// The daemon is killed when a reading is committed and its checkpoint not published: the file in which the checkpoint is written
// before it gets its name is a pipe that nobody reads. The next start publishes the very same bytes.
func TestF35_KilledBetweenCommitAndPublishing(t *testing.T) {
	t.Parallel()
	tries := faultTries(t, 2)
	w, port := newWrench(t)
	data := folder(t)
	outside := Folder(data).Outside()
	before := int64(0)
	for range tries {
		p := launch(t, data, port)
		drain(p)
		w.pull(t, 30, 40)
		allIn(t, p, data)
		w.pull(t, 30, 40) // that it is published shows in the file
		newest, _ := allIn(t, p, data)
		outsideIs(t, outside, newest)
		if err := syscall.Mkfifo(outside+".new", 0o600); err != nil {
			t.Fatal(err)
		}
		w.pull(t, 30, 40)
		unpublished, _ := allIn(t, p, data)
		p.kill()
		if left, err := ledger.ReadOutside(outside); err != nil || string(left) != string(newest) {
			t.Fatalf("got %s, %v, want the checkpoint before: else nothing is tried", left, err)
		}
		if err := os.Remove(outside + ".new"); err != nil {
			t.Fatal(err)
		}
		p = launch(t, data, port)
		drain(p)
		outsideIs(t, outside, unpublished)
		again, epoch := allIn(t, p, data)
		if string(again) != string(unpublished) || epoch < before+2 {
			t.Errorf("got the checkpoint\n%s in epoch %d, want\n%s behind epoch %d", again, epoch, unpublished, before+1)
		}
		before = epoch
		p.kill()
	}
	stored := counters(t, data) // and the ledger goes on from the checkpoint outside
	var want []int64
	for i := range w.count {
		want = append(want, i+1)
	}
	if !reflect.DeepEqual(stored, want) {
		t.Errorf("got the readings %v, want 1 to %d, each once and in order", stored, w.count)
	}
	t.Logf("FAULT F35 kills=%d readings=%d", tries, len(stored))
}

// allIn waits until all that the daemon has is in the database, and reads what newestNote does.
func allIn(t *testing.T, p *program, data string) (note []byte, epoch int64) {
	t.Helper()
	c := control.NewClient(Folder(data).Socket())
	defer c.Close()
	for late := time.Now().Add(time.Minute); ; time.Sleep(5 * time.Millisecond) {
		st, err := c.Status(t.Context())
		if err == nil && st.Entries > 0 && st.Position == st.Entries {
			break
		}
		if time.Now().After(late) {
			t.Fatalf("got %+v, %v, want all in the database: %s", st, err, p.log())
		}
	}
	pg, err := cluster.Attach(t.Context(), Folder(data).Postgres())
	if err != nil {
		t.Fatal(err)
	}
	defer pg.Stop(context.WithoutCancel(t.Context()))
	conn, err := pgx.Connect(t.Context(), pg.ConnString())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.WithoutCancel(t.Context()))
	if note, epoch, err = newestNote(t.Context(), conn, "north"); err != nil {
		t.Fatal(err)
	}
	return note, epoch
}

// errUnpublished is a checkpoint that could not be written outside.
var errUnpublished = errors.New("no room for the checkpoint")

// flawed is a store with faults around its calls, as those of rows.
type flawed struct {
	database
	r *rows
}

func (f flawed) Commit(ctx context.Context, outs []audit.Outcome) error {
	err := f.r.fault()
	if err == nil || err == errUnsure {
		err = errors.Join(err, f.database.Commit(ctx, outs))
	}
	return err
}

func (f flawed) Reload(ctx context.Context) error {
	if len(f.r.faults) > 0 && f.r.faults[0] == errBoth {
		return f.r.fault()
	}
	return f.database.Reload(ctx)
}

func (f flawed) Publish() error {
	if len(f.r.faults) > 0 && f.r.faults[0] == errUnpublished {
		return f.r.fault()
	}
	return f.database.Publish()
}

// TestF35_EveryFaultOnTheRealStore plays what TestWriter_EveryFaultEndsInEveryEntryOnce plays on tables in memory.
func TestF35_EveryFaultOnTheRealStore(t *testing.T) {
	pg, err := cluster.Start(t.Context(), filepath.Join(t.TempDir(), "pg"), "fsync=off")
	if err != nil {
		t.Fatal(err)
	}
	defer pg.Stop(context.WithoutCancel(t.Context()))
	cases := map[string][]error{
		"nothing fails":                           nil,
		"the first open fails":                    {errLost},
		"a commit fails and is not stored":        {nil, errLost},
		"a commit fails but is stored":            {nil, errUnsure},
		"a later one fails but is stored":         {nil, nil, errUnsure, errUnsure},
		"two in a row open the database anew":     {nil, errLost, errLost, errLost, nil},
		"stored, and then the reload fails":       {nil, errUnsure, errBoth},
		"a checkpoint is not published":           {nil, nil, errUnpublished},
		"the last checkpoint is not published":    {nil, nil, nil, nil, nil, errUnpublished},
		"nor the second time, and then no commit": {nil, nil, nil, nil, nil, errUnpublished, errUnpublished},
	}
	n := 0
	for name, faults := range cases {
		n++
		t.Run(name, func(t *testing.T) { faultOnStore(t, pg.ConnString(), fmt.Sprintf("s%d", n), faults) })
	}
	t.Logf("FAULT F35 cases=%d", len(cases))
}

func faultOnStore(t *testing.T, url, shop string, faults []error) {
	dir := t.TempDir()
	key, err := ledger.LoadOrCreateKey(filepath.Join(dir, "signing"), store.Origin(shop))
	if err != nil {
		t.Fatal(err)
	}
	o := store.Options{URL: url, Shop: shop, Key: key, Outside: filepath.Join(dir, "checkpoint"), Clock: time.Now}
	j, r, opened := newPages(3*batch+7), &rows{faults: faults}, int64(0)
	for i := range j.all {
		j.all[i].At = epoch.Add(time.Duration(i) * time.Second)
	}
	w := &writer{journal: j, address: func(context.Context) (string, error) { return url, nil }, fresh: behind{j},
		shopAt: func(uint64) *bench.Shop { return bench.NewShop(nil) }, log: zerolog.New(io.Discard), moved: make(chan struct{}),
		open: func(ctx context.Context, url string) (database, error) {
			if err := r.fault(); err != nil {
				return nil, err
			}
			opened++
			st, err := store.Open(ctx, o)
			return flawed{st, r}, err
		}}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { w.run(ctx); close(done) }()
	for at, moved := w.look(); at.position < j.Last(); at, moved = w.look() {
		<-moved
	}
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.WithoutCancel(t.Context()))
	newest, taken, err := newestNote(t.Context(), conn, shop)
	if err != nil {
		t.Fatal(err)
	}
	outsideIs(t, o.Outside, newest)
	cancel()
	<-done
	if _, now, err := newestNote(t.Context(), conn, shop); err != nil || now != opened || taken > now {
		t.Errorf("got epoch %d, %v, want one for each of the %d times that it was opened", now, err, opened)
	}
	rows, err := conn.Query(t.Context(), "SELECT seq FROM witnessmark.person WHERE shop = $1 ORDER BY ledger_index", shop)
	if err != nil {
		t.Fatal(err)
	}
	seqs, err := pgx.CollectRows(rows, pgx.RowTo[uint64])
	if err != nil || !reflect.DeepEqual(seqs, upTo(3*batch+7)) {
		t.Errorf("got %d rows, %v, want entries 1 to %d once each, in order", len(seqs), err, 3*batch+7)
	}
	reader, err := store.OpenReader(t.Context(), url, shop)
	if err != nil {
		t.Fatal(err)
	}
	defer reader.Close()
	if v, err := reader.Verify(t.Context(), key.Public, []store.Kept{{Where: o.Outside, Note: newest}}, nil); err != nil || v.Kept != 1 {
		t.Errorf("verify: got %+v, %v", v, err)
	}
}
