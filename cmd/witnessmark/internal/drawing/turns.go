package drawing

import (
	"slices"
	"sort"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/audit/procedure"
)

// Turn says when a fastener was really done in a stage, against when it was wanted.
type Turn struct {
	Fastener  string
	Wanted    int  // its turn in this stage by the procedure, from 1
	Real      int  // its turn in this stage as it was done, from 1; 0: it was not
	OutOfTurn bool // see Turns
	State     bench.State
	Verdict   audit.Verdict // of the last reading; empty: there was none
	Hits      int           // readings that belong to it
}

// Turns tells for every stage of a joint, in the wanted order, when each fastener was done. Only what was moved is out of
// turn: of all steps done, the most that can stand in the wanted order do, so that one fastener skipped and made good
// later does not put all those behind it in the wrong.
func Turns(j *procedure.Joint, steps []bench.StepState) [][]Turn {
	done := make([]uint64, len(steps))
	for i := range steps {
		done[i] = doneBy(&steps[i])
	}
	moved := displaced(done)
	out := make([][]Turn, len(j.Stages))
	readings := make([][]uint64, len(j.Stages))
	for i := range steps {
		s := &steps[i]
		k := slices.IndexFunc(j.Stages, func(st procedure.Stage) bool { return st.ID == s.Stage })
		t := Turn{Fastener: s.Fastener, Wanted: len(out[k]) + 1, OutOfTurn: moved[i], State: s.State, Hits: len(s.Marks)}
		if n := len(s.Marks); n > 0 {
			t.Verdict = s.Marks[n-1].Verdict
		}
		out[k], readings[k] = append(out[k], t), append(readings[k], done[i])
	}
	for k := range out {
		number(out[k], readings[k])
	}
	return out
}

// doneBy is the reading that made the step done, 0 where it is not: the last good one that was no second hit.
func doneBy(s *bench.StepState) uint64 {
	if s.State != bench.Done {
		return 0
	}
	by := uint64(0)
	for _, m := range s.Marks {
		if m.Verdict == audit.Pass && (by == 0 || !slices.Contains(m.Flags, audit.ReHit)) {
			by = m.Reading
		}
	}
	return by
}

// number counts the turns of one stage in the order of the readings that made them.
func number(turns []Turn, by []uint64) {
	sorted := slices.DeleteFunc(slices.Sorted(slices.Values(by)), func(r uint64) bool { return r == 0 })
	for i := range turns {
		if at, ok := slices.BinarySearch(sorted, by[i]); ok {
			turns[i].Real = at + 1
		}
	}
}

// displaced marks the members that do not belong to a longest rising subsequence; zeros take no part.
func displaced(done []uint64) []bool {
	var ends []int // ends[n] is where a rising subsequence of n+1 members ends lowest
	before := make([]int, len(done))
	for i, d := range done {
		if d == 0 {
			continue
		}
		n := sort.Search(len(ends), func(n int) bool { return done[ends[n]] >= d })
		before[i] = -1
		if n > 0 {
			before[i] = ends[n-1]
		}
		ends = append(ends[:n:n], append([]int{i}, ends[min(n+1, len(ends)):]...)...)
	}
	moved := make([]bool, len(done))
	for i, d := range done {
		moved[i] = d != 0
	}
	if len(ends) > 0 {
		for i := ends[len(ends)-1]; i >= 0; i = before[i] {
			moved[i] = false
		}
	}
	return moved
}
