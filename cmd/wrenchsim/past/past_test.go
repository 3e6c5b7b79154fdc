package past

import (
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"witnessmark/audit"
	state "witnessmark/audit/bench"
	"witnessmark/store"
	"witnessmark/store/cluster/clustertest"
	"witnessmark/store/ledger"
)

func TestMain(m *testing.M) { os.Exit(clustertest.Main(m)) }

func draw(t testing.TB, readings int, seed uint64) []audit.Outcome {
	t.Helper()
	entries, err := Entries(readings, seed)
	if err != nil {
		t.Fatal(err)
	}
	return slices.Collect(entries)
}

func TestEntries_SameSeed(t *testing.T) {
	a, b, other := draw(t, 3000, 7), draw(t, 3000, 7), draw(t, 3000, 8)
	if !reflect.DeepEqual(a, b) {
		t.Error("one seed gave two histories")
	}
	if reflect.DeepEqual(a, other) {
		t.Error("two seeds gave one history")
	}
	readings := 0
	for _, o := range a {
		if _, ok := o.Entry.Event.(audit.ReadingTaken); ok {
			readings++
		}
	}
	if readings != 3000 {
		t.Errorf("got %d readings, want 3000", readings)
	}
}

// The real state machine takes every entry, and comes to the same step and verdict for nearly every reading.
func TestEntries_FitTheBench(t *testing.T) {
	s, same, all := state.NewShop(nil), 0, 0
	for _, o := range draw(t, 4000, 3) {
		got := s.Apply(o.Entry)
		if got.Refused != "" {
			t.Fatalf("entry %d, %s: refused: %s", o.Entry.Seq, o.Entry.Event.Kind(), got.Refused)
		}
		if _, ok := o.Entry.Event.(audit.ReadingTaken); !ok {
			continue
		}
		all++
		g, w := got.Marks[0], o.Marks[0]
		if g.Stage == w.Stage && g.Fastener == w.Fastener && g.Verdict == w.Verdict && g.Calibration == w.Calibration && g.Run == w.Run && g.Build == w.Build {
			same++
		}
	}
	if same*100 < all*90 {
		t.Errorf("got %d of %d marks as the bench makes them, want 90 %%", same, all)
	}
}

func TestFill(t *testing.T) {
	dir := t.TempDir()
	key, err := ledger.LoadOrCreateKey(filepath.Join(dir, "key"), store.Origin("s1"))
	if err != nil {
		t.Fatal(err)
	}
	opt := store.Options{URL: clustertest.Database(t), Shop: "s1", Key: key, Outside: filepath.Join(dir, "checkpoint"), Clock: time.Now}
	entries, err := Entries(1500, 1)
	if err != nil {
		t.Fatal(err)
	}
	told := uint64(0)
	fill := func(leaves bool) error {
		return store.Fill(t.Context(), opt, leaves, entries, func(seq uint64) { told = seq })
	}
	verify := func() error {
		r, err := store.OpenReader(t.Context(), opt.URL, opt.Shop)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Close()
		found, err := r.Verify(t.Context(), key.Public, nil, nil)
		if err == nil && found.Leaves < 3000 {
			t.Errorf("got %d leaves, want more than one a reading and one a mark", found.Leaves)
		}
		return err
	}
	t.Run("with leaves it verifies", func(t *testing.T) {
		if err := fill(true); err != nil {
			t.Fatal(err)
		}
		if err := verify(); err != nil {
			t.Error(err)
		}
		if told < 1500 {
			t.Errorf("got told of entry %d, want the newest", told)
		}
	})
	t.Run("never on top of records", func(t *testing.T) {
		if err := fill(true); !errors.Is(err, store.ErrFilled) {
			t.Errorf("got %v, want ErrFilled", err)
		}
	})
	t.Run("without leaves it does not verify", func(t *testing.T) {
		opt.URL, opt.Outside = clustertest.Database(t), filepath.Join(dir, "other")
		if err := fill(false); err != nil {
			t.Fatal(err)
		}
		if err := verify(); err == nil || !strings.Contains(err.Error(), "a row without a leaf") {
			t.Errorf("got %v, want a row without a leaf", err)
		}
		if err := fill(false); !errors.Is(err, store.ErrFilled) {
			t.Errorf("got %v, want ErrFilled", err)
		}
	})
}
