package web

import (
	"fmt"
	"slices"
	"strings"
	"time"

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
func moments(b *sheet.Build) []moment {
	all := []moment{{At: b.At, What: "The build was opened", By: orBlanked(b.By)}}
	for i := range b.Joints {
		all = append(all, ofJoint(&b.Joints[i])...)
	}
	all = append(all, judged(&b.Said)...)
	slices.SortStableFunc(all, func(a, b moment) int { return a.At.Compare(b.At) })
	return all
}

func ofJoint(j *sheet.Joint) (all []moment) {
	add := func(at time.Time, by string, mind bool, what string, args ...any) {
		all = append(all, moment{at, fmt.Sprintf(j.Title+": "+what, args...), by, mind})
	}
	for i, r := range j.Runs {
		verb := "was put"
		if i > 0 {
			verb = "was taken up again"
		}
		add(r.Started, orBlanked(r.By), false, "%s on bench %s", verb, r.Bench)
		if r.Closed != nil {
			add(*r.Closed, "", false, "was taken off bench %s", r.Bench)
		}
	}
	for _, o := range j.Order {
		if o.Began == nil {
			continue
		}
		turn := ""
		if len(o.OutOfTurn) > 0 {
			turn = ", out of turn: fastener " + strings.Join(o.OutOfTurn, ", ")
		}
		add(*o.Ended, "", turn != "", "stage %s, %d of %d done since %s%s", o.Stage, len(o.Done), len(o.Wanted), o.Began.UTC().Format("15:04:05 Z"), turn)
	}
	for _, c := range j.Checks {
		of, by := "", orBlanked(c.By)
		if c.Fastener != "" {
			of = " of fastener " + c.Fastener
		}
		if c.Reading != 0 {
			by = "wrench " + c.Wrench
		}
		add(c.At, by, !c.OK, "check %s%s: %s%s", c.Check, of, c.Answer, map[bool]string{false: ", not accepted"}[c.OK])
	}
	for _, n := range j.Named {
		add(n.At, orBlanked(n.By), false, "reading %d was %s", n.Reading, orNone(n.Fastener))
	}
	for _, b := range j.Renewals {
		add(b.At, orBlanked(b.By), false, "a new bolt at fastener %s%s", b.Fastener, because(b.Reason))
	}
	return all
}

// judged is what people signed for.
func judged(b *sheet.Said) (all []moment) {
	for _, c := range b.Concessions {
		by := orBlanked(c.By)
		if c.SecondedBy != "" {
			by += " and " + c.SecondedBy
		}
		all = append(all, moment{c.At, "Conceded: " + c.Found + because(c.Reason), by, true})
	}
	for _, c := range b.Corrections {
		all = append(all, moment{c.At, fmt.Sprintf("Corrected: reading %d was %s%s", c.Reading, orNone(c.Fastener), because(c.Reason)), orBlanked(c.By), true})
	}
	for _, r := range b.Releases {
		all = append(all, moment{r.At, fmt.Sprintf("Released, signing the ledger of %d leaves", r.Size), orBlanked(r.By), false})
	}
	for _, r := range b.Reopenings {
		all = append(all, moment{r.At, "The release was taken back" + because(r.Reason), orBlanked(r.By), true})
	}
	return all
}

func because(reason string) string {
	if reason == "" {
		return ""
	}
	return ": " + reason
}

func orNone(fastener string) string {
	if fastener == "" {
		return "none of the joint"
	}
	return "fastener " + fastener
}

func orBlanked(name string) string {
	if name == "" {
		return "(name blanked)"
	}
	return name
}
