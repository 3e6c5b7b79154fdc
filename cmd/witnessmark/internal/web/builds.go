package web

import (
	"cmp"
	"net/http"
	"slices"

	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
)

// buildRow is a build in the list.
type buildRow struct {
	control.Build
	Worst    bench.Finding // of what stands in the way
	Blocking int
	Benches  []string // at which it is now
}

// buildsView is the builds by what a lead has to do about them.
type buildsView struct {
	Attention []buildRow // the worst first
	Ready     []buildRow // nothing stands in the way of the release
	Working   []buildRow // not done yet, and nothing is wrong
	Released  []buildRow // the newest first
	Older     int        // released ones that are not shown
}

// releasedShown is how many released builds are listed; older ones are looked up by their serial number.
const releasedShown = 50

func (p *Pages) buildsPage(w http.ResponseWriter, r *http.Request) {
	var v buildsView
	all := p.Shop.Builds()
	for _, b := range slices.Backward(all) {
		row := buildRow{Build: b}
		if b.Standing == bench.Released {
			if len(v.Released) < releasedShown || b.InDoubt != "" {
				v.Released = append(v.Released, row)
			} else {
				v.Older++
			}
			continue
		}
		rv, err := p.Shop.Review(b.ID)
		if err != nil {
			p.refused(w, r, err)
			return
		}
		v.sort(row, &rv)
	}
	slices.SortStableFunc(v.Attention, func(a, b buildRow) int {
		return cmp.Or(cmp.Compare(a.Worst.Subject.Rank(), b.Worst.Subject.Rank()), cmp.Compare(b.Blocking, a.Blocking))
	})
	p.show(w, r, http.StatusOK, "builds", p.say(r, "menu.builds"), v)
}

// sort puts a build that is not released where it belongs.
func (v *buildsView) sort(row buildRow, rv *bench.Review) {
	blocking := rv.Blocking()
	row.Blocking = len(blocking)
	for _, f := range blocking {
		if wrong(f, blocking) && row.Worst.Text == "" {
			row.Worst = f
		}
	}
	switch {
	case len(blocking) == 0:
		v.Ready = append(v.Ready, row)
	case row.Worst.Text != "":
		v.Attention = append(v.Attention, row)
	default:
		v.Working = append(v.Working, row)
	}
}

// wrong is true of a finding that asks for a person, false of work that is simply not done yet: a joint that was not begun,
// or what is open of a joint that is on a bench.
func wrong(f bench.Finding, all []bench.Finding) bool {
	switch f.Subject {
	case bench.JointOpen, bench.JointOnBench:
		return false
	case bench.StepOpen, bench.CheckOpen:
		return !slices.ContainsFunc(all, func(o bench.Finding) bool { return o.Subject == bench.JointOnBench && o.Joint == f.Joint })
	}
	return true
}
