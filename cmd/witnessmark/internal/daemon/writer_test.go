package daemon

import (
	"context"
	"errors"
	"io"
	"reflect"
	"strconv"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/rs/zerolog"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/store/ledger"
)

// pages is a journal in memory.
type pages struct {
	mu    sync.Mutex
	all   []audit.Entry
	moved chan struct{}
}

func newPages(n int) *pages {
	m := &pages{moved: make(chan struct{})}
	for range n {
		m.add(audit.PersonAdded{Person: strconv.Itoa(len(m.all)), Name: "Ada " + strconv.Itoa(len(m.all))})
	}
	return m
}

func (m *pages) add(ev audit.Event) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.all = append(m.all, audit.Entry{Seq: uint64(len(m.all)) + 1, Event: ev})
	close(m.moved)
	m.moved = make(chan struct{})
}

func (m *pages) Last() uint64 {
	m.mu.Lock()
	defer m.mu.Unlock()
	return uint64(len(m.all))
}

func (m *pages) Read(from uint64, max int) ([]audit.Entry, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.all[from-1 : min(int(from)-1+max, len(m.all))], nil
}

func (m *pages) Wait(ctx context.Context, after uint64) error {
	for {
		m.mu.Lock()
		n, moved := uint64(len(m.all)), m.moved
		m.mu.Unlock()
		if n > after {
			return nil
		}
		select {
		case <-moved:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// rows is a database in memory. Each fault stands for one call: nil lets it through.
type rows struct {
	kept   []uint64
	seen   uint64  // the position that its store believes in; Reload brings it up to date
	faults []error // of Open and Commit, in turn
	opens  int
	most   int // outcomes in one commit
}

var (
	errLost   = errors.New("connection lost before the commit")
	errUnsure = errors.New("connection lost, the commit happened")
	errBoth   = errors.New("reload fails too")
)

func (r *rows) fault() error {
	if len(r.faults) == 0 {
		return nil
	}
	f := r.faults[0]
	r.faults = r.faults[1:]
	return f
}

func (r *rows) open(context.Context, string) (database, error) {
	if err := r.fault(); err != nil {
		return nil, err
	}
	r.opens++
	r.seen = uint64(len(r.kept))
	return r, nil
}

func (r *rows) Position() uint64            { return r.seen }
func (r *rows) Ledger() (uint64, time.Time) { return r.seen, time.Time{} }
func (r *rows) Publish() error              { return nil }

func (r *rows) Checkpoint() (ledger.Checkpoint, error) { return ledger.Checkpoint{}, nil }
func (r *rows) Close() error                           { return nil }

func (r *rows) Commit(_ context.Context, outs []audit.Outcome) error {
	err := r.fault()
	if err != nil && err != errUnsure {
		return err
	}
	r.most = max(r.most, len(outs))
	for _, o := range outs {
		if o.Entry.Seq > uint64(len(r.kept)) {
			r.kept = append(r.kept, o.Entry.Seq)
		}
	}
	if err == nil {
		r.seen = uint64(len(r.kept))
	}
	return err
}

func (r *rows) Reload(context.Context) error {
	if len(r.faults) > 0 && r.faults[0] == errBoth {
		return r.fault()
	}
	r.seen = uint64(len(r.kept))
	return nil
}

func writerOn(j entries, r *rows) (*writer, *[]uint64) {
	booked := new([]uint64)
	return &writer{journal: j, open: r.open, address: func(context.Context) (string, error) { return "url", nil },
		booked: func(o audit.Outcome) { *booked = append(*booked, o.Entry.Seq) },
		fresh:  behind{j},
		shopAt: func(uint64) *bench.Shop { return bench.NewShop(nil) },
		log:    zerolog.New(io.Discard), moved: make(chan struct{})}, booked
}

// behind is a live follower that holds no outcomes any more.
type behind struct{ entries }

func (b behind) after(ctx context.Context, seq uint64, _ int) ([]audit.Outcome, bool, error) {
	return nil, false, b.Wait(ctx, seq)
}

func (behind) written(uint64) {}

// beside gives a writer a live follower that runs until the function is called that it returns.
func beside(t *testing.T, w *writer, j entries) (end func()) {
	l := newLive(j)
	w.fresh = l
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { _ = l.follow(ctx); close(done) }()
	return func() { cancel(); <-done }
}

func upTo(n int) []uint64 {
	var all []uint64
	for i := range n {
		all = append(all, uint64(i)+1)
	}
	return all
}

// until runs the writer until the database holds n entries.
func until(t *testing.T, w *writer, n uint64) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { w.run(ctx); close(done) }()
	for {
		at, moved := w.look()
		if at.position >= n {
			break
		}
		<-moved
	}
	cancel()
	<-done
}

func TestWriter_EveryFaultEndsInEveryEntryOnce(t *testing.T) {
	for name, faults := range map[string][]error{
		"nothing fails":                         nil,
		"the first open fails":                  {errLost},
		"a commit fails and is not stored":      {nil, errLost},
		"a commit fails but is stored":          {nil, errUnsure},
		"a later one fails but is stored":       {nil, nil, errUnsure, errUnsure},
		"two in a row open the database anew":   {nil, errLost, errLost, errLost, nil},
		"stored, and then the reload fails":     {nil, errUnsure, errBoth},
		"the database is away for twenty tries": {nil, nil, errLost, errBoth, errLost, errLost, errLost, errLost, errLost, errLost, errLost, errLost, errLost, errLost, errLost, errLost, errLost},
	} {
		everyFault(t, name, faults, false)
		everyFault(t, name+", beside the live follower", faults, true)
	}
}

func everyFault(t *testing.T, name string, faults []error, near bool) {
	t.Run(name, func(t *testing.T) {
		synctest.Test(t, func(t *testing.T) {
			j, r := newPages(2*commitMost+7), &rows{faults: faults}
			w, booked := writerOn(j, r)
			if near {
				defer beside(t, w, j)()
			}
			until(t, w, j.Last())
			if want := upTo(2*commitMost + 7); !reflect.DeepEqual(r.kept, want) {
				t.Errorf("got %d rows, want entries 1 to %d once each", len(r.kept), len(want))
			}
			if !reflect.DeepEqual(*booked, r.kept) {
				t.Errorf("got %d entries booked, want %d", len(*booked), len(r.kept))
			}
			if r.most > commitMost {
				t.Errorf("got %d outcomes in one commit, want %d at most", r.most, commitMost)
			}
			if near && w.shop != nil {
				t.Error("got a shop of the writer's own, want that of the live follower used")
			}
		})
	})
}

// A writer that the live follower has left far behind catches up by itself, and then lets go of its own shop.
func TestWriter_FarBehind(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, r := newPages(mostRecent+5*batch), &rows{}
		w, _ := writerOn(j, r)
		end := beside(t, w, j)
		defer end()
		synctest.Wait() // the follower is at the end
		made := 0
		w.shopAt = func(uint64) *bench.Shop { made++; return bench.NewShop(nil) }
		until(t, w, j.Last())
		if want := upTo(mostRecent + 5*batch); !reflect.DeepEqual(r.kept, want) {
			t.Errorf("got %d rows, want entries 1 to %d once each", len(r.kept), len(want))
		}
		if made != 1 || w.shop != nil {
			t.Errorf("got %d shops made, and its own let go: %t; want one, for as long as it is behind", made, w.shop == nil)
		}
	})
}

func TestWriter_GoesOnWhereTheDatabaseStands(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, r := newPages(batch+20), &rows{kept: upTo(batch + 11)}
		w, booked := writerOn(j, r)
		until(t, w, j.Last())
		if want := upTo(batch + 20); !reflect.DeepEqual(r.kept, want) || !reflect.DeepEqual(*booked, want[batch+11:]) {
			t.Errorf("got %d rows and %v booked, want %d rows and the last 9 booked", len(r.kept), *booked, len(want))
		}
		if w.shop.Seq() != j.Last() {
			t.Errorf("got the writer's shop at %d, want %d: it must know what went before", w.shop.Seq(), j.Last())
		}
	})
}

func TestWriter_DatabasePutBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, r := newPages(40), &rows{}
		w, _ := writerOn(j, r)
		until(t, w, 40)
		r.kept = upTo(15) // an older state of the same database was restored
		j.add(audit.PersonAdded{Person: "x", Name: "Bo"})
		w.set(reach{})
		until(t, w, 41)
		if want := upTo(41); !reflect.DeepEqual(r.kept, want) {
			t.Errorf("got %v, want what was lost written again", r.kept)
		}
	})
}

func TestWriter_ForeignDatabase(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, r := newPages(3), &rows{kept: upTo(9)}
		w, _ := writerOn(j, r)
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() { w.run(ctx); close(done) }()
		time.Sleep(time.Hour) // of the bubble's own clock: as many tries as fit
		cancel()
		<-done
		if at := w.reach(); at.trouble == nil || len(r.kept) != 9 {
			t.Errorf("got trouble %v and %d rows, want a refusal to write and 9", at.trouble, len(r.kept))
		}
	})
}
