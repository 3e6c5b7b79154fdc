package paper

import (
	"fmt"
	"time"

	"witnessmark/audit/bench"
)

// stage is the table of one stage and its two pictures.
func (d *document) stage(s *stage) {
	d.heading("Stage " + s.plan.ID)
	d.face(regular, bodySize, ink)
	d.paragraph(wanted(s.plan, d.unit) + s.when())
	if len(s.pulls) == 0 {
		return
	}
	d.y += 1
	t := d.table(smallSize, column{"Wanted", 14, true}, column{"Done", 11, true}, column{"Fastener", 15, false}, column{"Target " + s.targetUnit(d.unit), 32, false},
		column{"Torque " + string(d.unit), 15, true}, column{"Angle", 18, true}, column{"Verdict", 45, false},
		column{"Located by", 23, false}, column{"Time (UTC)", 17, false}, column{"Wrench", 16, false})
	for i := range s.steps {
		d.step(t, &s.steps[i], s.day())
	}
	d.pictures(s)
}

// day is the one on which the stage was begun.
func (s *stage) day() string {
	if len(s.pulls) == 0 {
		return ""
	}
	return s.pulls[0].words.At.UTC().Format(time.DateOnly)
}

func (s *stage) when() string {
	if len(s.pulls) == 0 {
		return fmt.Sprintf(" Nothing was done in it: it is open for %s.", counted(len(s.steps), "fastener"))
	}
	return fmt.Sprintf(" Begun on %s.", s.day())
}

// step writes the readings of one fastener, or that there was none. On another day than the given one its date is written.
func (d *document) step(t *table, s *step, day string) {
	turn, target := fmt.Sprint(s.turn.Wanted), target(s.figures, d.unit)
	if len(s.pulls) == 0 {
		t.row(plain, turn, "–", s.turn.Fastener, target, "–", "–", "○ "+string(s.turn.State), "–", "–", "–")
		return
	}
	for i := range s.pulls {
		p := &s.pulls[i]
		w, done := plain, "–"
		if s.turn.Real != 0 {
			done = fmt.Sprint(s.turn.Real)
		}
		if s.turn.OutOfTurn {
			done = "♦ " + done
		}
		if i > 0 {
			turn, target, done = "", "", ""
		}
		if !p.good() {
			w = strong
		}
		words := &p.words
		verdict := found(words) + first(words, &p.mark) + d.applied(p) + s.stands(i)
		if p.replaced {
			verdict += "; of a bolt that was replaced"
		}
		t.row(w, turn, done, p.fastener, target, string(words.Torque), angleCell(words), verdict,
			located(&p.mark), clock(words.At, day), words.Wrench)
	}
}

// stands says below the last reading that the step is not done though the reading was good: it was turned back later.
func (s *step) stands(i int) string {
	if i == len(s.pulls)-1 && s.turn.State == bench.Open {
		return "; ○ open again"
	}
	return ""
}

// applied is what the fastener got where an adapter stood between.
func (d *document) applied(p *pull) string {
	if p.mark.Applied == 0 {
		return ""
	}
	return fmt.Sprintf("; %s %s at the fastener, through adapter %s", short(p.torque, d.unit), d.unit, p.mark.Adapter)
}
