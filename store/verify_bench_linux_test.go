package store_test

import (
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"witnessmark/store"
	"witnessmark/store/cluster/clustertest"
	"witnessmark/store/ledger"
)

// benchEntries is how many entries BenchmarkVerify goes through; nearly each is a reading with a mark.
const benchEntries = 40_000

// BenchmarkVerify goes through a whole ledger, and beside it through what cannot be spared: the hashes of the same leaves
// and of the tree above them.
func BenchmarkVerify(b *testing.B) {
	dir := b.TempDir()
	key, err := ledger.LoadOrCreateKey(filepath.Join(dir, "k"), store.Origin("s1"))
	if err != nil {
		b.Fatal(err)
	}
	url := clustertest.Database(b)
	st, err := store.Open(b.Context(), store.Options{URL: url, Shop: "s1", Key: key, Outside: filepath.Join(dir, "c"), Clock: time.Now})
	if err != nil {
		b.Fatal(err)
	}
	for from := uint64(1); from < benchEntries; from += 2000 {
		if err := st.Commit(b.Context(), outcomes(from, from+1999)); err != nil {
			b.Fatal(err)
		}
	}
	size, _ := st.Ledger()
	if err := st.Close(); err != nil {
		b.Fatal(err)
	}
	r, err := store.OpenReader(b.Context(), url, "s1")
	if err != nil {
		b.Fatal(err)
	}
	defer r.Close()
	b.Run("whole", func(b *testing.B) {
		began := processorTime(b)
		for b.Loop() {
			if _, err := r.Verify(b.Context(), key.Public, nil, nil); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(size)*float64(b.N)/b.Elapsed().Seconds(), "leaves/s")
		b.ReportMetric(float64(size)*float64(b.N)/(processorTime(b)-began).Seconds(), "leaves/core-s") // without the server's part
	})
	b.Run("proof from leaf 1", func(b *testing.B) { // the part of a bundle that grows with the ledger
		for b.Loop() {
			if _, err := r.Proof(b.Context(), 1, 0); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(size)*float64(b.N)/b.Elapsed().Seconds(), "leaves/s")
	})
	b.Run("hashing alone", func(b *testing.B) {
		leaves := leavesOf(b, 1000)
		for b.Loop() {
			tree := &ledger.Tree{}
			for i := range size {
				tree.Append(ledger.Hash(leaves[i%uint64(len(leaves))]))
			}
		}
		b.ReportMetric(float64(size)*float64(b.N)/b.Elapsed().Seconds(), "leaves/s")
	})
}

// leavesOf is the leaves of some of the same entries.
func leavesOf(b *testing.B, entries uint64) [][]byte {
	b.Helper()
	var out [][]byte
	add := func(kind string, seq uint64, at time.Time, refused string, record any) {
		leaf, err := ledger.Leaf(kind, seq, at, refused, record)
		if err != nil {
			b.Fatal(err)
		}
		out = append(out, leaf)
	}
	for _, o := range outcomes(1, entries) {
		add(o.Entry.Event.Kind(), o.Entry.Seq, o.Entry.At, o.Refused, o.Entry.Event)
		for _, m := range o.Marks {
			add(m.Kind(), o.Entry.Seq, o.Entry.At, "", m)
		}
	}
	return out
}

// processorTime is what this process has used so far, of all cores.
func processorTime(b *testing.B) time.Duration {
	b.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
