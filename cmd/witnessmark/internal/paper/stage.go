package paper

import (
	"fmt"
	"time"
	"witnessmark/cmd/witnessmark/internal/worked"

	"witnessmark/audit/bench"
)

// stage is the table of one stage and its two pictures.
func (d *document) stage(s *worked.Stage) {
	d.heading("Stage " + s.Plan.ID)
	d.face(regular, bodySize, ink)
	d.paragraph(worked.Wanted(s.Plan, d.unit) + when(s))
	if len(s.Pulls) == 0 {
		return
	}
	d.y += 1
	t := d.table(smallSize, column{"Wanted", 14, true}, column{"Done", 11, true}, column{"Fastener", 15, false}, column{"Target " + s.TargetUnit(d.unit), 32, false},
		column{"Torque " + string(d.unit), 15, true}, column{"Angle", 18, true}, column{"Verdict", 45, false},
		column{"Located by", 23, false}, column{"Time (UTC)", 17, false}, column{"Wrench", 16, false})
	for i := range s.Steps {
		d.step(t, &s.Steps[i], day(s))
	}
	d.pictures(s)
}

// day is the one on which the stage was begun.
func day(s *worked.Stage) string {
	if len(s.Pulls) == 0 {
		return ""
	}
	return s.Pulls[0].Words.At.UTC().Format(time.DateOnly)
}

func when(s *worked.Stage) string {
	if len(s.Pulls) == 0 {
		return fmt.Sprintf(" Nothing was done in it: it is open for %s.", counted(len(s.Steps), "fastener"))
	}
	return fmt.Sprintf(" Begun on %s.", day(s))
}

// step writes the readings of one fastener, or that there was none. On another day than the given one its date is written.
func (d *document) step(t *table, s *worked.Step, day string) {
	turn, target := fmt.Sprint(s.Turn.Wanted), worked.Target(s.Figures, d.unit)
	if len(s.Pulls) == 0 {
		t.row(plain, turn, "–", s.Turn.Fastener, target, "–", "–", "○ "+string(s.Turn.State), "–", "–", "–")
		return
	}
	for i := range s.Pulls {
		p := &s.Pulls[i]
		w, done := plain, "–"
		if s.Turn.Real != 0 {
			done = fmt.Sprint(s.Turn.Real)
		}
		if s.Turn.OutOfTurn {
			done = "♦ " + done
		}
		if i > 0 {
			turn, target, done = "", "", ""
		}
		if !p.Good() {
			w = strong
		}
		words := &p.Words
		verdict := worked.Found(words) + worked.First(words, &p.Mark) + d.applied(p) + stands(s, i)
		if p.Replaced {
			verdict += "; of a bolt that was replaced"
		}
		t.row(w, turn, done, p.Fastener, target, string(words.Torque), worked.AngleCell(words), verdict,
			worked.Located(&p.Mark), clock(words.At, day), words.Wrench)
	}
}

// stands says below the last reading that the step is not done though the reading was good: it was turned back later.
func stands(s *worked.Step, i int) string {
	if i == len(s.Pulls)-1 && s.Turn.State == bench.Open {
		return "; ○ open again"
	}
	return ""
}

// applied is what the fastener got where an adapter stood between.
func (d *document) applied(p *worked.Pull) string {
	if p.Mark.Applied == 0 {
		return ""
	}
	return fmt.Sprintf("; %s %s at the fastener, through adapter %s", worked.Short(p.Torque, d.unit), d.unit, p.Mark.Adapter)
}
