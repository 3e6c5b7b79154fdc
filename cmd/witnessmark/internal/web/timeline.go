package web

import (
	"slices"
	"strings"
	"time"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/sheet"
)

// moment is something that happened to a build.
type moment struct {
	At   time.Time
	What string
	By   string // empty: nobody is named
	Mind bool   // asks for an eye
}

// moments puts what happened to a build in the order of time.
func (w *words) moments(b *sheet.Build) []moment {
	all := []moment{{At: b.At, What: w.say("story.opened"), By: w.orBlanked(b.By)}}
	for i := range b.Joints {
		all = append(all, w.ofJoint(&b.Joints[i])...)
	}
	all = append(all, w.judged(&b.Said)...)
	slices.SortStableFunc(all, func(a, b moment) int { return a.At.Compare(b.At) })
	return all
}

func (w *words) ofJoint(j *sheet.Joint) (all []moment) {
	add := func(at time.Time, by string, mind bool, key string, fields ...any) {
		all = append(all, moment{at, j.Title + ": " + w.say(key, fields...), by, mind})
	}
	for i, r := range j.Runs {
		key := "story.put"
		if i > 0 {
			key = "story.taken-up-again"
		}
		add(r.Started, w.orBlanked(r.By), false, key, "Bench", r.Bench)
		if r.Closed != nil {
			add(*r.Closed, "", false, "story.taken-off", "Bench", r.Bench)
		}
	}
	for _, o := range j.Order {
		if o.Began == nil {
			continue
		}
		key := "story.stage"
		if len(o.OutOfTurn) > 0 {
			key = "story.stage-out-of-turn"
		}
		add(*o.Ended, "", len(o.OutOfTurn) > 0, key, "Stage", o.Stage, "Done", len(o.Done), "All", len(o.Wanted), "Since", audit.When(*o.Began),
			"Fasteners", strings.Join(o.OutOfTurn, ", "))
	}
	for _, c := range j.Checks {
		by := w.orBlanked(c.By)
		if c.Reading != 0 {
			by = w.say("story.by-wrench", "Wrench", c.Wrench)
		}
		add(c.At, by, !c.OK, w.checkKey(&c), "Check", c.Check, "Fastener", c.Fastener, "Answer", c.Answer)
	}
	for _, h := range j.Hands {
		add(h.At, w.orBlanked(h.By), false, "story.taken-over")
	}
	for _, n := range j.Named {
		add(n.At, w.orBlanked(n.By), false, "story.named", "Reading", n.Reading, "Where", w.orNone(n.Fastener))
	}
	for _, b := range j.Renewals {
		add(b.At, w.orBlanked(b.By), false, "story.renewed", "Fastener", b.Fastener, "Because", because(b.Reason))
	}
	return all
}

func (w *words) checkKey(c *sheet.Check) string {
	key := "story.check"
	if c.Fastener != "" {
		key += "-of-fastener"
	}
	if !c.OK {
		key += "-refused"
	}
	return key
}

// judged is what people signed for.
func (w *words) judged(b *sheet.Said) (all []moment) {
	for _, c := range b.Concessions {
		by := w.orBlanked(c.By)
		if c.SecondedBy != "" {
			by = w.say("story.two-people", "One", by, "Other", c.SecondedBy)
		}
		all = append(all, moment{c.At, w.say("story.conceded", "Found", c.Found, "Because", because(c.Reason)), by, true})
	}
	for _, c := range b.Corrections {
		what := w.say("story.corrected", "Reading", c.Reading, "Where", w.orNone(c.Fastener), "Because", because(c.Reason))
		all = append(all, moment{c.At, what, w.orBlanked(c.By), true})
	}
	for _, r := range b.Releases {
		all = append(all, moment{r.At, w.say("story.released", "Size", r.Size), w.orBlanked(r.By), false})
	}
	for _, r := range b.Reopenings {
		all = append(all, moment{r.At, w.say("story.taken-back", "Because", because(r.Reason)), w.orBlanked(r.By), true})
	}
	return all
}

func because(reason string) string {
	if reason == "" {
		return ""
	}
	return ": " + reason
}

func (w *words) orNone(fastener string) string {
	if fastener == "" {
		return w.say("story.none-of-the-joint")
	}
	return w.say("story.fastener", "Fastener", fastener)
}

func (w *words) orBlanked(name string) string {
	if name == "" {
		return w.say("common.name-blanked")
	}
	return name
}
