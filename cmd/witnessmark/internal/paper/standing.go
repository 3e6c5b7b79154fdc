package paper

import (
	"fmt"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/show"
)

// standing says how the build stands, in a box that is seen first.
func (d *document) standing() {
	title, text := d.stands()
	const inset = 13.0
	d.face(bold, 11, ink)
	titles := d.lines(title, d.width()-inset-4)
	high := 9 + float64(len(titles))*d.line()
	d.y += 3
	d.room(high)
	d.fill(wash)
	d.pdf.Rect(d.left(), d.y, d.width(), high, "F")
	d.stripe(d.left()+3, d.y+4, 7)
	y := d.y + 3
	for _, l := range titles {
		d.at(d.left()+inset, y, l)
		y += d.line()
	}
	d.face(regular, bodySize, ink)
	d.at(d.left()+inset, y+0.6, text)
	d.y += high
}

// stands is how the build stands, as a title and a text. Whether the readings leave a step in doubt is not in the record: before
// a release nothing is called complete.
func (d *document) stands() (title, text string) {
	r, looks := d.released(), len(d.toLookAt())
	switch {
	case looks > 0:
		text = fmt.Sprintf("%s to look at, listed below.", counted(looks, "finding"))
	case r != nil:
		text = "There is nothing to look at."
	default:
		text = "Nothing in the record asks for a look; the review before the release looks further."
	}
	title = d.completeness()
	if r != nil {
		title, text = fmt.Sprintf("Released on %s by %s.", audit.When(r.At), show.Name(r.By)), title+" "+text
	} else {
		text = "Not released. " + text
	}
	if doubt := d.build.InDoubt(); doubt != "" {
		title += " In doubt: " + doubt + "."
	}
	return title, text
}

// completeness says how many joints are done. Of a joint that was begun anew the newest attempt counts.
func (d *document) completeness() string {
	complete, all, verify := 0, 0, 0
	for i := range d.joints {
		w := d.joints[i].Words
		if w != nil && w.Earlier {
			continue
		}
		if all++; w != nil && w.Complete {
			complete++
			verify += w.ToVerify
		}
	}
	switch {
	case complete < all:
		return fmt.Sprintf("Not complete: %d of %d joints are done.", complete, all)
	case verify > 0:
		return "Every step but the verification is done, and every check is accepted."
	case d.released() == nil:
		return "Every step is done and every check is accepted."
	}
	return "Complete: every joint is done and every check is accepted."
}

func (d *document) overview() {
	d.heading("Joints")
	t := d.table(8, column{"Joint", 44, false}, column{"Class", 10, false}, column{"Steps done", 18, false}, column{"State", 26, false},
		column{"Started (UTC)", 33, false}, column{"Bench", 16, false}, column{"By", 26, false}, column{"Page", 9, true})
	for i := range d.joints {
		j := &d.joints[i]
		done, all := j.Tally()
		steps := fmt.Sprintf("%d of %d", done, all)
		if j.Words == nil {
			t.row(strong, j.Plan.Title, string(j.Plan.Criticality), steps, "never begun", "–", "–", "–", "–")
			continue
		}
		w := plain
		if !j.Words.Complete {
			w = strong
		}
		t.row(w, d.title(j), string(j.Plan.Criticality), steps, j.state(), moment(j.Words.Started), j.Words.Bench, show.Name(j.Words.By), fmt.Sprint(j.page))
	}
}

// state is how a joint stands in a few words.
func (j *joint) state() string {
	state := string(j.Words.State)
	switch {
	case j.Words.Complete && j.Words.ToVerify > 0:
		return state + ", to be verified"
	case j.Words.Closed == nil:
		return state + ", on the bench"
	}
	return state
}
