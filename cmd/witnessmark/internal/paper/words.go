package paper

import (
	"fmt"
	"strings"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/procedure"
	"witnessmark/cmd/witnessmark/internal/sheet"
	"witnessmark/cmd/witnessmark/internal/show"
	"witnessmark/device/unit"
)

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
