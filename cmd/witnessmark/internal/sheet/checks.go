package sheet

import (
	"cmp"
	"fmt"
	"slices"

	"witnessmark/audit/bench"
	"witnessmark/audit/procedure"
	"witnessmark/store"
)

// checks lists the answers of people and of wrenches in the order in which they came.
func checks(r *store.RunHistory, j *procedure.Joint) []Check {
	type placed struct {
		at int64 // leaf of the entry
		Check
	}
	var all []placed
	for i := range r.Answers {
		all = append(all, placed{r.Answers[i].Index, spoken(&r.Answers[i], j)})
	}
	for i := range r.Readings {
		if c, ok := measured(&r.Readings[i], j); ok {
			all = append(all, placed{r.Readings[i].Index, c})
		}
	}
	slices.SortStableFunc(all, func(a, b placed) int { return cmp.Compare(a.at, b.at) })
	out := make([]Check, len(all))
	for i := range all {
		out[i] = all[i].Check
	}
	return out
}

func spoken(a *store.AnswerHistory, j *procedure.Joint) Check {
	c := Check{Check: a.Check, Fastener: a.Fastener, Answer: bench.Answered(&a.CheckAnswered), By: a.Person, At: a.At, LedgerIndex: a.Index}
	asked := named(j, a.Check)
	c.OK = asked != nil && bench.Accepted(asked, &a.CheckAnswered)
	return c
}

// measured is false of a reading that measures no check.
func measured(r *store.ReadingHistory, j *procedure.Joint) (Check, bool) {
	if len(r.Marks) == 0 {
		return Check{}, false
	}
	m := &r.Marks[len(r.Marks)-1]
	asked := named(j, m.CheckID)
	if asked == nil {
		return Check{}, false
	}
	return Check{Check: m.CheckID, Fastener: m.Fastener, Answer: bench.Shown(asked, &m.Mark, &r.Reading), OK: bench.Measured(&m.Mark),
		At: r.At, LedgerIndex: m.Index, Reading: r.Seq, Wrench: r.Wrench, Flags: m.Flags, by: m.LocatedBy}, true
}

// counted is nil where no bolt of the joint is due to be replaced.
func counted(j *procedure.Joint, answers []Check, renewed int) *Bolts {
	if j.Due == 0 {
		return nil
	}
	b := &Bolts{Due: j.Due, Renewed: renewed}
	for i := range answers {
		if asked := named(j, answers[i].Check); asked != nil && asked.Answer == procedure.CountBolts {
			if n, err := bench.Counted(answers[i].Answer); err == nil {
				b.Used = &n
			}
		}
	}
	return b
}

// String is the comparison in words.
func (b *Bolts) String() string {
	text := fmt.Sprintf("%d due to be replaced, not counted", b.Due)
	if b.Used != nil {
		text = fmt.Sprintf("%d used, %d due to be replaced", *b.Used, b.Due)
	}
	if b.Renewed > 0 {
		text += fmt.Sprintf("; %d more renewed later", b.Renewed)
	}
	return text
}

func named(j *procedure.Joint, id string) *procedure.Check {
	for i := range j.Checks {
		if j.Checks[i].ID == id {
			return &j.Checks[i]
		}
	}
	return nil
}
