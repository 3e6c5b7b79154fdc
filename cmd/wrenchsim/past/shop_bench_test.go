package past

import (
	"runtime"
	"testing"
	"time"

	state "witnessmark/audit/bench"
)

// file is a shelf in memory that stands for one on the disk: what lies on it is counted apart.
type file struct{ contents [][]byte }

func (f *file) Put(content []byte) (int64, bool) {
	f.contents = append(f.contents, content)
	return int64(len(f.contents)) - 1, true
}

func (f *file) Get(place int64) ([]byte, error) { return f.contents[place], nil }

// What a shop holds in memory grows with the builds alone, each of which is released.
func BenchmarkShop_Years(b *testing.B) {
	const readings = 100_000
	entries := draw(b, readings, 5)
	var before, after runtime.MemStats
	for range b.N {
		shelf := &file{}
		s := state.NewShop(shelf)
		runtime.GC()
		runtime.ReadMemStats(&before)
		began := time.Now()
		for _, o := range entries {
			s.Apply(o.Entry)
		}
		took := time.Since(began)
		var lying int
		for _, c := range shelf.contents {
			lying += len(c)
		}
		n := len(shelf.contents)
		shelf.contents = nil
		runtime.GC()
		runtime.ReadMemStats(&after)
		began = time.Now()
		snap := s.Snapshot()
		b.ReportMetric(float64(time.Since(began).Microseconds())/1000, "ms/snapshot")
		began = time.Now()
		if _, err := state.Restored(snap, shelf); err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(time.Since(began).Microseconds())/1000, "ms/restored")
		b.ReportMetric(float64(after.HeapAlloc-before.HeapAlloc)/1e6, "MB-held")
		b.ReportMetric(float64(len(snap))/1e6, "MB-snapshot")
		b.ReportMetric(float64(lying)/readings, "B-lying/reading")
		b.ReportMetric(float64(n), "released")
		b.ReportMetric(float64(len(s.Builds())), "builds")
		b.ReportMetric(float64(took.Microseconds())/readings, "µs/reading")
	}
}
