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
	a.Hands = slices.Concat(a.Hands, r.Hands)
	a.Clock = slices.Concat(a.Clock, r.Clock)
}

func told(r *store.RunHistory) Run { return Run{r.ID, r.Bench, r.Technician, r.Started, r.Closed} }

// by is in whose hands the joint was when a reading came.
func (a *attempt) by(r *store.ReadingHistory) string { return a.hand(r.Marks[0].Run, r.Seq) }

// hand is in whose hands a run was just before an entry: the last who took it over, else who started it.
func (a *attempt) hand(run, entry uint64) string {
	by := a.Technician
	if i := slices.IndexFunc(a.runs, func(r Run) bool { return r.Run == run }); i >= 0 {
		by = a.runs[i].By
	}
	for _, h := range a.Hands {
		if h.Run == run && h.Seq < entry {
			by = h.Person
		}
	}
	return by
}

// changes are the hands that the joint came into; who scans their badge again takes nothing over.
func (a *attempt) changes() (out []Hand) {
	for _, h := range a.Hands {
		if h.Person != a.hand(h.Run, h.Seq) {
			out = append(out, Hand{h.Person, h.At, h.Index})
		}
	}
	return out
}

// renewals are the new bolts as the steps ask for them.
func (a *attempt) renewals() []bench.Renewal {
	out := make([]bench.Renewal, len(a.Renewals))
	for i, b := range a.Renewals {
		out[i] = bench.Renewal{Entry: b.Seq, Fastener: b.Fastener}
	}
	return out
}
