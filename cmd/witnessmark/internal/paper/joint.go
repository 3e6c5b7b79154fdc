package paper

import (
	"fmt"
	"reflect"
	"slices"
	"time"
	"witnessmark/cmd/witnessmark/internal/worked"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/audit/procedure"
	"witnessmark/cmd/witnessmark/internal/drawing"
	"witnessmark/cmd/witnessmark/internal/show"
)

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// joint is the pages of one run: the drawings, then stage by stage.
func (d *document) joint(j *joint) {
	if j.Words == nil {
		return
	}
	d.turn()
	j.page = d.pdf.PageNo()
	d.face(bold, 16, ink)
	d.pdf.Bookmark(d.clean(d.title(j)), 0, -1)
	d.paragraph(d.title(j))
	d.face(regular, bodySize, ink)
	done, all := j.Tally()
	d.paragraph(fmt.Sprintf("Joint %s, class %s, %s: %d of %d steps done.", j.Plan.ID, j.Plan.Criticality, j.state(), done, all))
	for _, r := range j.Words.Runs {
		closed := "still there"
		if r.Closed != nil {
			closed = "closed " + audit.When(*r.Closed)
		}
		d.paragraph(fmt.Sprintf("On bench %s from %s, started by %s, %s.", r.Bench, audit.When(r.Started), show.Name(r.By), closed))
	}
	if j.Words.Bolts != nil {
		d.paragraph(fmt.Sprintf("New bolts: %s.", j.Words.Bolts))
	}
	for _, h := range j.Words.Hands {
		d.paragraph(fmt.Sprintf("%s: taken over by %s, whose the readings after it are.", audit.When(h.At), show.Name(h.By)))
	}
	for _, b := range j.Words.Renewals {
		why := ""
		if b.Reason != "" {
			why = ": " + b.Reason
		}
		d.paragraph(fmt.Sprintf("%s: a new bolt at fastener %s, said by %s%s.", audit.When(b.At), b.Fastener, show.Name(b.By), why))
	}
	d.orders(j)
	d.moved(j)
	d.checks(j)
	for i := range j.Stages {
		d.stage(&j.Stages[i])
	}
	d.stray(j)
}

// orders draws every stage that was begun with the order in which it was really done.
func (d *document) orders(j *joint) {
	d.heading("The order in which it was done")
	d.face(regular, smallSize, faint)
	d.legend()
	var titles []string
	var pictures []drawing.Picture
	var layouts []drawing.Layout
	for k := range j.Stages {
		if len(j.Stages[k].Pulls) == 0 {
			continue
		}
		p := drawing.Real(j.Plan, k, j.Stages[k].Turns)
		l := p.Layout()
		l.Title = "" // stages that were done alike are drawn once
		if i := slices.IndexFunc(layouts, func(o drawing.Layout) bool { return reflect.DeepEqual(o, l) }); i >= 0 {
			titles[i] += ", " + j.Stages[k].Plan.ID
			continue
		}
		titles, pictures, layouts = append(titles, "Stage "+j.Stages[k].Plan.ID), append(pictures, p), append(layouts, l)
	}
	d.drawings(titles, pictures)
}

// moved says in words what was not done in the wanted order.
func (d *document) moved(j *joint) {
	var lines []string
	for _, st := range j.Stages {
		for _, t := range st.Turns {
			switch {
			case t.OutOfTurn && t.Real == t.Wanted:
				lines = append(lines, fmt.Sprintf("Stage %s: fastener %s was done out of turn, before or after fasteners of another stage.", st.Plan.ID, t.Fastener))
			case t.OutOfTurn:
				lines = append(lines, fmt.Sprintf("Stage %s: fastener %s was number %d of those done, wanted as number %d.", st.Plan.ID, t.Fastener, t.Real, t.Wanted))
			}
		}
	}
	d.face(regular, bodySize, ink)
	d.y += 1
	if len(lines) == 0 {
		d.paragraph("Everything that was done was done in the wanted order.")
	}
	for _, l := range lines {
		d.paragraph(l)
	}
}

func (d *document) checks(j *joint) {
	if len(j.Plan.Checks) == 0 {
		return
	}
	d.heading("Checks")
	t := d.table(8, column{"Check", 46, false}, column{"Fastener", 16, false}, column{"Wanted", 29, false}, column{"Answer", 18, false},
		column{"Finding", 24, false}, column{"By", 26, false}, column{"When (UTC)", 35, false})
	for i := range j.Words.Checks {
		c := &j.Words.Checks[i]
		w, verdict := plain, "accepted"
		if !c.OK {
			w, verdict = strong, "▲ not accepted"
		}
		if j.Words.OfOldBolt(c) {
			w, verdict = plain, verdict+", of the old bolt"
		}
		by := show.Name(c.By)
		if c.Reading != 0 {
			by = fmt.Sprintf("wrench %s, reading %d", c.Wrench, c.Reading)
		}
		t.row(w, ask(j.Plan, c.Check), show.Dash(c.Fastener), accepts(j.Plan, c.Check), c.Answer, verdict, by, moment(c.At))
	}
	for _, c := range j.Words.Unanswered {
		w, verdict := strong, "▲ not answered"
		if c.Later {
			w, verdict = plain, "after the verification"
		}
		t.row(w, ask(j.Plan, c.Check), show.Dash(c.Fastener), accepts(j.Plan, c.Check), "–", verdict, "–", "–")
	}
}

func check(j *procedure.Joint, id string) *procedure.Check {
	for i := range j.Checks {
		if j.Checks[i].ID == id {
			return &j.Checks[i]
		}
	}
	return nil
}

func ask(j *procedure.Joint, id string) string {
	if c := check(j, id); c != nil {
		return c.Ask
	}
	return id
}

func accepts(j *procedure.Joint, id string) string {
	if c := check(j, id); c != nil {
		return bench.Wanted(c)
	}
	return "–"
}

// stray is the readings that belong to no step.
func (d *document) stray(j *joint) {
	if len(j.Stray) == 0 {
		return
	}
	d.heading("Readings that belong to no step")
	t := d.table(smallSize, column{"Reading", 14, true}, column{"Torque " + string(d.unit), 18, true}, column{"Angle", 14, true}, column{"Verdict", 60, false},
		column{"Located by", 24, false}, column{"Wrench", 22, false}, column{"When (UTC)", 32, false})
	for i := range j.Stray {
		m := &j.Stray[i].Words
		t.row(plain, fmt.Sprint(m.Reading), string(m.Torque), worked.AngleCell(m), worked.Found(m)+worked.First(m, &j.Stray[i].Mark), worked.Located(&j.Stray[i].Mark), m.Wrench, moment(m.At))
	}
}
