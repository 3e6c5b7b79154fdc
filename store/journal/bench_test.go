package journal_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"witnessmark/store/journal"
)

// BenchmarkJournal_Append gives the appends a second beside the writes and syncs a second of a plain file.
func BenchmarkJournal_Append(b *testing.B) {
	b.Run("plain write and sync", func(b *testing.B) {
		f, err := os.Create(filepath.Join(b.TempDir(), "plain"))
		if err != nil {
			b.Fatal(err)
		}
		defer f.Close()
		record := make([]byte, 300)
		for b.Loop() {
			if _, err := f.Write(record); err != nil {
				b.Fatal(err)
			}
			if err := f.Sync(); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "appends/s")
	})
	for _, writers := range []int{1, 64} {
		b.Run(fmt.Sprintf("%d writers", writers), func(b *testing.B) { appendFrom(b, writers) })
	}
}

func appendFrom(b *testing.B, writers int) {
	j, err := journal.Open(filepath.Join(b.TempDir(), "j.db"), time.Now)
	if err != nil {
		b.Fatal(err)
	}
	defer j.Close()
	var left atomic.Int64
	left.Store(int64(b.N))
	var all sync.WaitGroup
	b.ResetTimer()
	for range writers {
		all.Go(func() {
			for left.Add(-1) >= 0 {
				if _, err := j.Append(context.Background(), reading(1)); err != nil {
					b.Error(err)
					return
				}
			}
		})
	}
	all.Wait()
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "appends/s")
}
