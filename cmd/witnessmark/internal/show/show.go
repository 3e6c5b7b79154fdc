// Package show writes what a bench looks like as lines for a terminal, so that everything that shows a bench says it
// in the same words.
package show

import (
	"fmt"
	"strings"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/device/label"
)

// Where is the line that says what lies on the bench.
func Where(v bench.View) string {
	line := fmt.Sprintf("Bench %s: %s", v.Bench, lies(v))
	if v.Hand != "" {
		line += " In the hands of " + v.Hand + "."
	}
	if v.Person != "" && v.Person != v.Hand {
		line += " " + v.Person + " is signed in."
	}
	return line
}

// lies is what lies on the bench.
func lies(v bench.View) string {
	const begin = "Start one with `witnessmark joint start`."
	switch {
	case v.Run != 0:
		again := ""
		if v.Resumed {
			again = ", taken up again"
		}
		return fmt.Sprintf("engine %s, work order %s, %s (%s)%s, %d of %d steps done.",
			v.Engine, v.WorkOrder, v.Title, v.Joint, again, v.Steps-v.Left, v.Steps)
	case v.Build != 0:
		return fmt.Sprintf("engine %s, work order %s, no joint. Scan one, or s%s", v.Engine, v.WorkOrder, begin[1:])
	case v.Engine != "" && v.WorkOrder != "":
		return fmt.Sprintf("engine %s, work order %s: the build is about to be opened.", v.Engine, v.WorkOrder)
	case v.Engine != "":
		return fmt.Sprintf("engine %s is new here. Scan its work order.", v.Engine)
	case v.WorkOrder != "":
		return fmt.Sprintf("work order %s is new here. Scan its engine.", v.WorkOrder)
	}
	return "no joint. " + begin
}

// Todo is the lines that say what comes next and what is not right, in the order in which to see to it: the check that
// waits, the next step, what needs a person, and at the end of the joint what is still open.
func Todo(v bench.View) []string {
	if v.Run == 0 {
		return nil
	}
	var lines []string
	if v.Ask != nil {
		lines = append(lines, "  check  "+Ask(*v.Ask))
	}
	if v.Summary.Complete && len(v.Summary.Verification) > 0 {
		lines = append(lines, "  done   all of this joint is tightened; it may be closed, and verified later.")
	}
	switch {
	case v.Next != nil:
		lines = append(lines, fmt.Sprintf("  next   fastener %s, stage %s: %s", v.Next.Fastener, v.Next.Stage, v.Next.Target))
	case v.Summary.Complete:
		lines = append(lines, "  done   every step of this joint is done; close it with `witnessmark joint close`.")
	}
	if v.Scanned != "" {
		lines = append(lines, "  scan   the next reading is fastener "+v.Scanned+", by its label")
	}
	s := v.Summary
	if v.Next != nil { // what has not been come to yet is no news
		s.Open, s.Verification = nil, nil
	}
	return append(lines, Summary(s)...)
}

// Ask is a check in words, e.g. `end-float: Crankshaft end float (0.07 … 0.23 mm)`.
func Ask(a bench.Ask) string {
	text := a.Check
	if a.Fastener != "" {
		text += ", fastener " + a.Fastener
	}
	text += ": " + a.Text
	if a.Accept != "" {
		text += " (" + a.Accept + ")"
	}
	if a.ByWrench {
		text += ". Pull the wrench, or type the value."
	}
	return text
}

// Open is an open stage in words. Where the position cannot be known it says so.
func Open(o bench.OpenStage) string {
	if len(o.Candidates) == 0 {
		return fmt.Sprintf("stage %s: fastener %s", o.Stage, strings.Join(o.Fasteners, ", "))
	}
	missed := "one of these was missed"
	if n := len(o.Fasteners); n > 1 {
		missed = fmt.Sprintf("%d of these were missed", n)
	}
	return fmt.Sprintf("stage %s: %s: %s (presumed: %s)", o.Stage, missed, strings.Join(o.Candidates, ", "), strings.Join(o.Fasteners, ", "))
}

// Reading is the lines of a reading: what it was and how it was judged, then what to do now.
func Reading(l *bench.LastReading) []string {
	if l == nil {
		return nil
	}
	what := l.Torque
	if l.Applied != "" {
		what += fmt.Sprintf(" (%s at the fastener, through %s)", l.Applied, l.Mark.Adapter)
	}
	if l.Angle != "" {
		what += " " + l.Angle
	}
	lines := []string{fmt.Sprintf("%s #%d  %s  %s  %s", sign(l.Mark), l.Seq, l.Wrench, what, Mark(l.Mark))}
	if l.Advice != "" {
		lines = append(lines, "       "+l.Advice)
	}
	if l.Preload != "" {
		lines = append(lines, "       For information: it clamps with "+l.Preload+".")
	}
	return lines
}

// Mark is a finding in words: where, verdict, flags, and how the place is known.
func Mark(m audit.Mark) string {
	where := "no step"
	switch {
	case m.CheckID != "" && m.Fastener != "":
		where = fmt.Sprintf("check %s, fastener %s", m.CheckID, m.Fastener)
	case m.CheckID != "":
		where = "check " + m.CheckID
	case m.Fastener != "":
		where = fmt.Sprintf("fastener %s, stage %s", m.Fastener, m.Stage)
	}
	text := where + ": " + string(m.Verdict)
	if len(m.Flags) > 0 {
		text += " [" + strings.Join(m.Flags, ", ") + "]"
	}
	if m.LocatedBy != "" {
		text += fmt.Sprintf(" (by %s, %s)", m.LocatedBy, Percent(m.Confidence))
	}
	return text
}

// sign leads a line so that good and not good are told apart without reading, and without colour.
func sign(m audit.Mark) string {
	switch {
	case m.Verdict == audit.Pass && len(m.Odd()) == 0:
		return "ok    "
	case m.Verdict == audit.Pass:
		return "ok ?  "
	case m.Verdict == audit.NotJudged:
		return "stray "
	}
	return "NOT OK"
}

// Percent is a share in whole percent, never rounded up to 100 nor down to 0.
func Percent(s audit.Share) string {
	p := (int64(s) + 5_000) / 10_000
	switch {
	case p == 100 && s < audit.Certain:
		return ">99 %"
	case p == 0 && s > 0:
		return "<1 %"
	}
	return fmt.Sprintf("%d %%", p)
}

// Bench is everything about a bench: where, the last reading, what to do.
func Bench(v bench.View) []string {
	lines := append([]string{Where(v)}, fitted(v.Fitted)...)
	lines = append(lines, Reading(v.Last)...)
	return append(lines, Todo(v)...)
}

// fitted is the lines of the adapters at a bench.
func fitted(all []bench.Fitted) []string {
	var lines []string
	for _, a := range all {
		wrench := "every wrench"
		if a.Wrench != "" {
			wrench = "wrench " + a.Wrench
		}
		lines = append(lines, fmt.Sprintf("  fitted adapter %s on %s: %s from grip to drive, %s on from there at %s; readings are corrected by it",
			a.Adapter, wrench, a.WrenchLength, a.Extension, a.Angle))
	}
	return lines
}

// Summary is the lines of what is still open and what needs a person.
func Summary(s bench.Summary) []string {
	var lines []string
	for _, o := range s.Open {
		lines = append(lines, "  open   "+Open(o))
	}
	for _, o := range s.Verification {
		lines = append(lines, "  later  verification is still open: "+Open(o))
	}
	for _, a := range s.Attention {
		lines = append(lines, "  look   "+a)
	}
	return lines
}

// Update is the lines that a live watch adds for one update; one of no kind asks for the whole bench.
func Update(u control.Update) []string {
	switch {
	case u.Refused != "" && u.Scan != nil:
		return []string{"  refused  " + named(*u.Scan) + ": " + u.Refused}
	case u.Refused != "":
		return []string{"  refused  " + u.Refused}
	case u.Scan != nil:
		return Scan(u.View, *u.Scan)
	case u.Kind == audit.ReadingTaken{}.Kind():
		return append(Reading(u.View.Last), Todo(u.View)...)
	case u.Kind == audit.FrameRefused{}.Kind():
		return []string{"  look   a wrench sent something that could not be read; it is kept. Send the reading again."}
	case u.Kind == audit.CheckAnswered{}.Kind():
		return Todo(u.View)
	}
	return Bench(u.View)
}

// Scan is the lines of a scan that was taken: what it was and how the bench stands, unless that follows by itself
// because a joint is started, a build opened or a check answered.
func Scan(v bench.View, s control.Scan) []string {
	line := "  scan   " + named(s)
	if s.Note != "" {
		line += " (" + s.Note + ")"
	}
	opening := v.Build == 0 && v.Engine != "" && v.WorkOrder != ""
	switch {
	case s.Label == label.Joint, s.Label == label.Lot, opening:
		return []string{line}
	case s.Label == label.Fastener:
		return append([]string{line}, Todo(v)...)
	}
	return []string{line, Where(v)}
}

// named is what was scanned, e.g. `engine TB42-10577`. Of what was not understood, which may be noise, the beginning will do.
func named(s control.Scan) string {
	switch begin := []rune(s.Value); {
	case s.Label == "" && len(begin) > 32:
		return `"` + string(begin[:32]) + `…"`
	case s.Label == "":
		return `"` + s.Value + `"`
	case s.Value == "":
		return string(s.Label)
	}
	return string(s.Label) + " " + s.Value
}

// Live writes the updates of one bench one after another: what needs a person is said once, when it comes up.
type Live struct{ said map[string]bool }

// Update is the lines of the next update.
func (l *Live) Update(u control.Update) []string {
	if l.said == nil {
		l.said = map[string]bool{}
	}
	now := map[string]bool{}
	var fresh []string
	for _, a := range u.View.Summary.Attention {
		now[a] = true
		if !l.said[a] {
			fresh = append(fresh, a)
		}
	}
	l.said = now
	u.View.Summary.Attention = fresh
	return Update(u)
}
