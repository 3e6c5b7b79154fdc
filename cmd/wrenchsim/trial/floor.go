package trial

import (
	"slices"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/audit/procedure"
)

// heard is what a bench said of a run.
type heard struct {
	live, final []audit.Mark
	complete    bool // by the review after the close
	attention   bool // something wants a person's eye
}

// floor is a shop with one bench, on which a run is played as people play it: entry by entry.
type floor struct {
	shop       *bench.Shop
	build, seq uint64
	took       map[uint64]int // reading by entry
	heard
}

// hear plays a run: its readings, and what was said in between.
func hear(r *Run) heard {
	f := &floor{shop: bench.NewShop(nil), took: map[uint64]int{}}
	f.enter(audit.ProcedureAdded{Family: "TRIAL", Revision: "1", Title: "Drawn", Text: r.Text})
	f.enter(audit.PersonAdded{Person: "p1", Name: "Drawn"})
	f.enter(audit.BuildOpened{Engine: "E1", Family: "TRIAL", Revision: "1", WorkOrder: "1", Person: "p1"})
	f.build = f.seq
	f.enter(audit.JointStarted{Bench: "b", Build: f.build, Joint: r.Joint.ID, Person: "p1"})
	acts := r.Acts
	for i := range r.Readings {
		for ; len(acts) > 0 && acts[0].After <= i; acts = acts[1:] {
			f.act(&acts[0])
		}
		f.took[f.seq+1] = i
		m := f.enter(audit.ReadingTaken{Bench: "b", Reading: r.Readings[i]})
		f.live = append(f.live, m[0])
		f.final = append(f.final, m[0])
		f.say(m)
	}
	for i := range acts {
		f.act(&acts[i])
	}
	f.say(f.enter(audit.JointClosed{Bench: "b", Run: f.shop.Run("b"), Person: "p1"}))
	f.review(r)
	return f.heard
}

// review looks at what stands in the way of a release. A verification that is still open keeps no joint from being complete.
func (f *floor) review(r *Run) {
	v, err := f.shop.Review(f.build)
	if err != nil {
		panic(err) // the build is ours
	}
	f.complete = true
	for _, b := range v.Blocking() {
		switch {
		case b.Subject == bench.StepOpen && r.verifies(b.Stage):
			continue
		case slices.Contains([]bench.Subject{bench.StepFailed, bench.StepDoubted, bench.StepOpen, bench.BoltWorn}, b.Subject):
			f.complete = false
		}
		f.attention = true
	}
}

// verifies is true of a stage in which nothing is tightened.
func (r *Run) verifies(stage string) bool {
	return slices.ContainsFunc(r.Joint.Stages, func(s procedure.Stage) bool { return s.ID == stage && s.Verifies() })
}

// say takes over the newest marks of readings.
func (f *floor) say(marks []audit.Mark) {
	for _, m := range marks {
		f.final[f.took[m.Reading]] = m
	}
}

func (f *floor) act(a *Act) {
	if a.Renewed != "" {
		f.enter(audit.BoltReplaced{Bench: "b", Run: f.shop.Run("b"), Fastener: a.Renewed, Person: "p1"})
		return
	}
	fit := *a.Fitted
	fit.Bench, fit.Person = "b", "p1"
	f.enter(fit)
}

// enter applies an entry, a minute after the one before.
func (f *floor) enter(ev audit.Event) []audit.Mark {
	f.seq++
	out := f.shop.Apply(audit.Entry{Seq: f.seq, At: time.Unix(int64(f.seq)*60, 0).UTC(), Event: ev})
	if out.Refused != "" {
		panic("trial: " + out.Refused) // the entries are ours
	}
	return out.Marks
}
