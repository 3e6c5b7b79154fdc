package worked

import (
	"fmt"
	"strings"

	"witnessmark/audit"
	"witnessmark/audit/procedure"
	"witnessmark/cmd/witnessmark/internal/sheet"
	"witnessmark/cmd/witnessmark/internal/show"
	"witnessmark/device"
	"witnessmark/device/unit"
)

// Wanted is what a stage asks for, in words, torques in the given unit.
func Wanted(s *procedure.Stage, u unit.TorqueUnit) string {
	f := &s.Figures
	text := verbs[f.Action] + " " + Target(*f, u)
	if byTorque(f.Action) {
		text += " " + string(u)
	}
	switch {
	case f.Action == procedure.TightenTo && f.Angles.Set:
		text += ", the angle watched: " + angles(f.Angles)
	case !byTorque(f.Action) && f.Torques.Set:
		text += fmt.Sprintf(", the torque watched: %s … %s %s", Short(f.Torques.Low, u), Short(f.Torques.High, u), u)
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

// TargetUnit is the unit at the head of a column of targets; empty where each target has its own.
func (s *Stage) TargetUnit(u unit.TorqueUnit) string {
	if byTorque(s.Plan.Action) {
		return string(u)
	}
	return ""
}

// Target is the target and its window, a torque without its unit: "60 (57 … 63)" or "90° (85 … 95°)".
func Target(f procedure.Figures, u unit.TorqueUnit) string {
	window := Short(f.Torques.Low, u) + " … " + Short(f.Torques.High, u)
	switch {
	case f.Action == procedure.Verify:
		return window
	case f.Action == procedure.TightenTo:
		return Short(f.Torque, u) + " (" + window + ")"
	}
	return f.Angle.String() + " (" + angles(f.Angles) + ")"
}

func angles(w procedure.AngleWindow) string {
	return strings.TrimSuffix(w.Low.String(), "°") + " … " + w.High.String()
}

// Short writes a torque with at most two decimals.
func Short(t unit.Torque, u unit.TorqueUnit) string {
	return strings.TrimSuffix(strings.TrimRight(t.In(u, 2), "0"), ".")
}

// AngleCell is the angle of a reading, or that there is none.
func AngleCell(m *sheet.Mark) string {
	switch {
	case m.Angle == nil && m.Direction == string(device.Loosen):
		return "back"
	case m.Angle == nil:
		return "none"
	case m.Direction == string(device.Loosen):
		return string(*m.Angle) + "° back"
	}
	return string(*m.Angle) + "°"
}

// Found is the verdict with its flags.
func Found(m *sheet.Mark) string {
	text := string(m.Verdict)
	if m.Verdict != audit.Pass && m.Verdict != audit.NotJudged {
		text = "▲ " + text
	}
	if len(m.Flags) > 0 {
		text += " [" + strings.Join(m.Flags, ", ") + "]"
	}
	return text
}

// First is what was said of the reading before the mark in force, where that was something else.
func First(m *sheet.Mark, now *audit.Mark) string {
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

// Located is how the place is known, and how sure that is where it is presumed.
func Located(m *audit.Mark) string {
	if m.LocatedBy == audit.ByOrder {
		return "order, " + show.Percent(m.Confidence)
	}
	if m.LocatedBy == "" {
		return "–"
	}
	return string(m.LocatedBy)
}
