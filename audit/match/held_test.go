package match_test

import (
	"runtime"
	"testing"

	"witnessmark/audit/match"
)

// BenchmarkMatcher_Held is the memory that matching holds of a joint of 20 fasteners in 4 stages that is half done: of a clean
// one, and of one that was hit twice in its first stage.
func BenchmarkMatcher_Held(b *testing.B) {
	j := block(b)
	for name, slip := range map[string]int{"clean": -1, "hit twice": 7} {
		b.Run(name, func(b *testing.B) {
			before, held := heap(), make([]*workshop, 0, b.N)
			for b.Loop() {
				w := &workshop{j: j, m: match.New(j), standing: make([]int64, 20)}
				for k := range 40 {
					f := k % 20
					if k == slip {
						f--
					}
					w.round(k/20, f)
				}
				held = append(held, w)
			}
			b.ReportMetric(float64(heap()-before)/float64(len(held)), "B/joint")
			runtime.KeepAlive(held)
		})
	}
}

// heap is how many bytes are held, with what nobody holds any more collected.
func heap() uint64 {
	runtime.GC()
	runtime.GC()
	var now runtime.MemStats
	runtime.ReadMemStats(&now)
	return now.HeapAlloc
}
