package paper

import (
	"fmt"
	"strings"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/audit/procedure"
	"witnessmark/cmd/witnessmark/internal/sheet"
	"witnessmark/cmd/witnessmark/internal/show"
	"witnessmark/device/unit"
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

// wanted is what a stage asks for, in words.
func wanted(s *procedure.Stage, u unit.TorqueUnit) string {
	f := &s.Figures
	text := verbs[f.Action] + " " + target(*f, u)
	if byTorque(f.Action) {
		text += " " + string(u)
	}
	switch {
	case f.Action == procedure.TightenTo && f.Angles.Set:
		text += ", the angle watched: " + angles(f.Angles)
	case !byTorque(f.Action) && f.Torques.Set:
		text += fmt.Sprintf(", the torque watched: %s … %s %s", short(f.Torques.Low, u), short(f.Torques.High, u), u)
	}
	if f.Total.Set {
		text += ", all turns together: " + angles(f.Total)
	}
	if s.Adapter != "" {
		text += ", through adapter " + s.Adapter
	}
	return "Wanted: " + text + "."
}

var verbs = map[procedure.Action]string{procedure.TightenTo: "tighten to", procedure.TurnBy: "turn by", procedure.LoosenBy: "back off by",
	procedure.Verify: "find where it moves,"}

// byTorque is whether the target of an action is a torque.
func byTorque(a procedure.Action) bool { return a == procedure.TightenTo || a == procedure.Verify }

func (s *stage) targetUnit(u unit.TorqueUnit) string {
	if byTorque(s.plan.Action) {
		return string(u)
	}
	return ""
}

// target is the target and its window, a torque without its unit: "60 (57 … 63)" or "90° (85 … 95°)".
func target(f procedure.Figures, u unit.TorqueUnit) string {
	window := short(f.Torques.Low, u) + " … " + short(f.Torques.High, u)
	switch {
	case f.Action == procedure.Verify:
		return window
	case f.Action == procedure.TightenTo:
		return short(f.Torque, u) + " (" + window + ")"
	}
	return f.Angle.String() + " (" + angles(f.Angles) + ")"
}

func angles(w procedure.AngleWindow) string {
	return strings.TrimSuffix(w.Low.String(), "°") + " … " + w.High.String()
}

// short writes a torque with at most two decimals.
func short(t unit.Torque, u unit.TorqueUnit) string {
	return strings.TrimSuffix(strings.TrimRight(t.In(u, 2), "0"), ".")
}

func angleCell(m *sheet.Mark) string {
	switch {
	case m.Angle == nil && loosened(m.Direction):
		return "back"
	case m.Angle == nil:
		return "none"
	case loosened(m.Direction):
		return string(*m.Angle) + "° back"
	}
	return string(*m.Angle) + "°"
}

// found is the verdict with its flags.
func found(m *sheet.Mark) string {
	text := string(m.Verdict)
	if m.Verdict != audit.Pass && m.Verdict != audit.NotJudged {
		text = "▲ " + text
	}
	if len(m.Flags) > 0 {
		text += " [" + strings.Join(m.Flags, ", ") + "]"
	}
	return text
}

// first is what was said of the reading before the mark in force, where that was something else.
func first(m *sheet.Mark, now *audit.Mark) string {
	var b strings.Builder
	for _, e := range m.Before {
		same := e.Stage == now.Stage && e.Fastener == now.Fastener && e.Check == now.CheckID
		switch {
		case same && e.Verdict == m.Verdict:
		case same:
			fmt.Fprintf(&b, "; at first %s", e.Verdict)
		default:
			fmt.Fprintf(&b, "; first taken for %s", place(&e))
			if e.Verdict != m.Verdict {
				fmt.Fprintf(&b, ": %s", e.Verdict)
			}
		}
	}
	return b.String()
}

func place(e *sheet.Earlier) string {
	switch {
	case e.Check != "":
		return "check " + e.Check
	case e.Fastener != "":
		return fmt.Sprintf("stage %s, fastener %s", e.Stage, e.Fastener)
	}
	return "no step"
}

// located is how the place is known, and how sure that is where it is presumed.
func located(m *audit.Mark) string {
	if m.LocatedBy == audit.ByOrder {
		return "order, " + show.Percent(m.Confidence)
	}
	return dash(string(m.LocatedBy))
}

// clock is the time of day, after the date where that is another than the given one.
func clock(at time.Time, day string) string {
	return strings.TrimPrefix(moment(at), day+" ")
}
