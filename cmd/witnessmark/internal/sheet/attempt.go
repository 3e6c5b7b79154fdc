package sheet

import (
	"cmp"
	"slices"

	"witnessmark/audit/bench"
	"witnessmark/store"
)

// attempt is a run with those that took it up again, put together as one; it ends when the newest of them does.
type attempt struct {
	store.RunHistory
	runs    []Run
	earlier bool // another one of the same joint came after it
}

// attempts puts together the runs that continue each other, in the order in which each attempt began.
func attempts(runs []store.RunHistory) []*attempt {
	var out []*attempt
	for i := range runs {
		r := &runs[i]
		if a := continued(out, r.Continues); a != nil {
			a.add(r)
			continue
		}
		for _, a := range out {
			a.earlier = a.earlier || a.Joint == r.Joint
		}
		out = append(out, &attempt{RunHistory: *r, runs: []Run{told(r)}})
	}
	return out
}

// continued finds the attempt that run id belongs to, nil: none.
func continued(all []*attempt, id uint64) *attempt {
	i := slices.IndexFunc(all, func(a *attempt) bool {
		return slices.ContainsFunc(a.runs, func(r Run) bool { return r.Run == id })
	})
	if i < 0 {
		return nil
	}
	return all[i]
}

func (a *attempt) add(r *store.RunHistory) {
	a.Closed = r.Closed
	a.runs = append(a.runs, told(r))
	a.Readings = slices.Concat(a.Readings, r.Readings)
	slices.SortStableFunc(a.Readings, func(x, y store.ReadingHistory) int { return cmp.Compare(x.Seq, y.Seq) }) // one may have come in later
	a.Answers = slices.Concat(a.Answers, r.Answers)
	a.Scans = slices.Concat(a.Scans, r.Scans)
	a.Renewals = slices.Concat(a.Renewals, r.Renewals)
	a.Named = slices.Concat(a.Named, r.Named)
}

func told(r *store.RunHistory) Run { return Run{r.ID, r.Bench, r.Technician, r.Started, r.Closed} }

// by is who had the joint on the bench when a reading came.
func (a *attempt) by(r *store.ReadingHistory) string {
	i := slices.IndexFunc(a.runs, func(run Run) bool { return run.Run == r.Marks[0].Run })
	if i < 0 {
		return a.Technician
	}
	return a.runs[i].By
}

// renewals are the new bolts as the steps ask for them.
func (a *attempt) renewals() []bench.Renewal {
	out := make([]bench.Renewal, len(a.Renewals))
	for i, b := range a.Renewals {
		out[i] = bench.Renewal{Entry: b.Seq, Fastener: b.Fastener}
	}
	return out
}
