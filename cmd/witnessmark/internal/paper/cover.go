package paper

import (
	"fmt"
	"strings"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/show"
)

// cover is the first page: which engine, who and when, how it stands, and what to look at.
func (d *document) cover() {
	d.turn()
	d.face(regular, 10, faint)
	d.at(d.left(), d.y, "Build sheet of engine")
	d.y += d.line() + 0.5
	d.face(bold, 22, ink)
	d.paragraph(d.History.Engine)
	d.y += 2
	d.facts()
	d.standing()
	d.overview()
	d.findings()
	d.said()
	d.y += 4
	d.boxed(show.Safety)
}

func (d *document) facts() {
	h := &d.History.Builds[0]
	facts := [][2]string{
		{"Work order", d.build.WorkOrder},
		{"Unit", d.build.Unit},
		{"Procedure", fmt.Sprintf("%s revision %s, %s (%s)", h.Family, h.Revision, d.procedure.Title, d.procedure.Source)},
		{"Opened", audit.When(h.At) + " by " + show.Name(h.Technician)},
		{"Worked on", d.workedOn()},
		{"Technicians", strings.Join(d.people(), ", ")},
		{"Build", fmt.Sprintf("number %d of shop %s", d.build.Build, d.Shop)},
		{"Torques", "in " + string(d.unit) + ", converted where the wrench or the procedure uses another unit"},
	}
	for _, f := range facts {
		if f[1] == "" {
			continue
		}
		d.room(d.line())
		d.face(regular, bodySize, faint)
		d.at(d.left(), d.y, f[0])
		d.face(regular, bodySize, ink)
		d.indented(30, f[1])
		d.y += 0.6
	}
}

// workedOn is the span from the first joint to the last word about one.
func (d *document) workedOn() string {
	runs := d.History.Builds[0].Runs
	if len(runs) == 0 {
		return ""
	}
	first, last := runs[0].Started, runs[0].Started
	for _, r := range runs {
		for _, rd := range r.Readings {
			last = later(last, rd.At)
		}
		if r.Closed != nil {
			last = later(last, *r.Closed)
		}
	}
	return audit.When(first) + " to " + audit.When(last)
}

// people are those who started a joint, took it over or answered a check, in the order in which they come up.
func (d *document) people() []string {
	var list []string
	seen := map[string]bool{}
	add := func(who string) {
		if who = show.Name(who); !seen[who] {
			seen[who] = true
			list = append(list, who)
		}
	}
	for _, j := range d.build.Joints {
		for _, r := range j.Runs {
			add(r.By)
		}
		for _, h := range j.Hands {
			add(h.By)
		}
		for _, c := range j.Checks {
			if c.Reading == 0 {
				add(c.By)
			}
		}
	}
	return list
}

func (d *document) findings() {
	d.heading("What to look at")
	all := d.toLookAt()
	for _, f := range all {
		d.finding(f[0], f[1])
	}
	if len(all) == 0 {
		d.paragraph("Nothing: no step is open or failed, every check is accepted, and no reading asks for a look.")
	}
}

func (d *document) finding(where, what string) {
	d.room(d.line())
	d.face(regular, bodySize, alarm)
	d.at(d.left(), d.y, "▲")
	d.face(regular, bodySize, ink)
	d.indented(5, where+": "+what)
	d.y += 0.5
}

// title names a joint, and an attempt that was begun anew as such.
func (d *document) title(j *joint) string {
	if j.Words.Earlier {
		return fmt.Sprintf("%s, earlier attempt (run %d)", j.Plan.Title, j.Words.Run)
	}
	return j.Plan.Title
}

// boxed writes a text in a frame.
func (d *document) boxed(text string) {
	d.face(regular, bodySize, ink)
	lines := d.lines(text, d.width()-8)
	high := float64(len(lines))*d.line() + 5
	d.room(high)
	d.pen(ink, 0.35)
	d.pdf.Rect(d.left(), d.y, d.width(), high, "D")
	for i, l := range lines {
		d.at(d.left()+4, d.y+2.5+float64(i)*d.line(), l)
	}
	d.y += high
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
