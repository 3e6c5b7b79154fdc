// Package export writes readings with their marks in force as a table for other programs: CSV or xlsx. It holds one
// reading at a time, however many there are.
package export

import (
	"fmt"
	"strings"
	"time"

	"witnessmark/device/unit"
	"witnessmark/store"
)

// decimal is a number with all the digits that it has, e.g. 45.2.
type decimal string

// column is one column of the table; a cell is a string, a decimal, an int64, a time.Time, or nil where there is nothing.
type column struct {
	head string
	of   func(*store.Line) any
}

// columnsIn are the columns of the table, torques in a unit.
func columnsIn(u unit.TorqueUnit) []column {
	return []column{
		{"Reading", func(l *store.Line) any { return int64(l.Seq) }},
		{"Time (UTC)", func(l *store.Line) any { return l.At.UTC() }},
		{"Engine", func(l *store.Line) any { return l.Engine }},
		{"Unit", func(l *store.Line) any { return l.Machine }},
		{"Work order", func(l *store.Line) any { return l.WorkOrder }},
		{"Build", func(l *store.Line) any { return known(int64(l.Mark.Build)) }},
		{"Procedure", func(l *store.Line) any { return l.Mark.Family }},
		{"Revision", func(l *store.Line) any { return l.Mark.Revision }},
		{"Joint", func(l *store.Line) any { return l.Mark.Joint }},
		{"Joint run", func(l *store.Line) any { return known(int64(l.Mark.Run)) }},
		{"Bench", func(l *store.Line) any { return l.Bench }},
		{"Technician", func(l *store.Line) any { return l.Person }},
		{"Stage", func(l *store.Line) any { return l.Mark.Stage }},
		{"Fastener", func(l *store.Line) any { return l.Mark.Fastener }},
		{"Check", func(l *store.Line) any { return l.Mark.CheckID }},
		{"Torque (" + string(u) + ")", func(l *store.Line) any { return torque(l.Torque, u) }},
		{"Torque at the fastener (" + string(u) + ")", func(l *store.Line) any { return applied(l, u) }},
		{"Angle (°)", func(l *store.Line) any { return angle(l.Angle) }},
		{"Direction", func(l *store.Line) any { return string(l.Direction) }},
		{"Verdict", func(l *store.Line) any { return string(l.Mark.Verdict) }},
		{"Flags", func(l *store.Line) any { return strings.Join(l.Mark.Flags, ", ") }},
		{"Located by", func(l *store.Line) any { return string(l.Mark.LocatedBy) }},
		{"Confidence (0 to 1)", func(l *store.Line) any { return share(int64(l.Mark.Confidence)) }},
		{"Conformity (0 to 1)", func(l *store.Line) any { return conformity(l.Mark.Conformity) }},
		{"Wrench", func(l *store.Line) any { return l.Wrench }},
		{"Adapter", func(l *store.Line) any { return l.Mark.Adapter }},
		{"Torque as the wrench wrote it", func(l *store.Line) any { return l.TorqueText }},
		{"Unit of the wrench", func(l *store.Line) any { return string(l.Reading.Unit) }},
		{"Counter of the wrench", func(l *store.Line) any { return counter(l.Counter) }},
		{"Clock of the wrench", func(l *store.Line) any { return l.Clock }},
		{"Serial number of the wrench", func(l *store.Line) any { return l.Serial }},
		{"Tag", func(l *store.Line) any { return l.Tag }},
		{"Times marked", func(l *store.Line) any { return int64(l.Mark.No) }},
		{"Ledger entry of the mark", func(l *store.Line) any { return l.MarkLeaf }},
	}
}

// Heads are the names of the columns, with their units, torques in a unit.
func Heads(u unit.TorqueUnit) []string {
	columns := columnsIn(u)
	out := make([]string, len(columns))
	for i, c := range columns {
		out[i] = c.head
	}
	return out
}

func known(n int64) any {
	if n == 0 {
		return nil
	}
	return n
}

func torque(t unit.Torque, u unit.TorqueUnit) decimal { return trimmed(t.In(u, 6)) }

// applied is the torque that an adapter passed on; without one it is that of the wrench.
func applied(l *store.Line, u unit.TorqueUnit) decimal {
	if l.Mark.Applied != 0 {
		return torque(unit.Torque(l.Mark.Applied), u)
	}
	return torque(l.Torque, u)
}

func angle(a *unit.Angle) any {
	if a == nil {
		return nil
	}
	return trimmed(a.In(3))
}

func counter(n *int64) any {
	if n == nil {
		return nil
	}
	return *n
}

func conformity(c *int64) any {
	if c == nil {
		return nil
	}
	return share(*c)
}

// share writes millionths as a number of 0 to 1.
func share(millionths int64) decimal {
	return trimmed(fmt.Sprintf("%d.%06d", millionths/1_000_000, millionths%1_000_000))
}

func trimmed(number string) decimal {
	if !strings.Contains(number, ".") {
		return decimal(number)
	}
	return decimal(strings.TrimSuffix(strings.TrimRight(number, "0"), "."))
}

// Moment is how a time is written in CSV, in UTC; spreadsheets take it for a time.
const Moment = "2006-01-02 15:04:05.000"

func moment(t time.Time) string { return t.UTC().Format(Moment) }
