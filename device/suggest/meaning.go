package suggest

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"witnessmark/device"
)

// judgements are the words by which wrenches say what they think of a pull (common practice).
var judgements = map[string]device.Judgement{
	"OK": device.JudgedPass, "PASS": device.JudgedPass, "GO": device.JudgedPass, "GOOD": device.JudgedPass, "IO": device.JudgedPass,
	"LO": device.JudgedLow, "LOW": device.JudgedLow, "HI": device.JudgedHigh, "HIGH": device.JudgedHigh,
	"NG": device.JudgedFail, "NOK": device.JudgedFail, "NOGO": device.JudgedFail, "FAIL": device.JudgedFail, "BAD": device.JudgedFail, "NIO": device.JudgedFail,
}

// reader is what finds out what the columns mean that hold neither torque nor angle.
type reader struct {
	table
	guess
	shown      []Shown
	fields     []field
	unsure     []string
	pulls      int  // frames that differ
	hasWay     bool // something tells the direction
	guessedWay bool // by a letter that never changes
	kinds      map[string]bool
}

func (r *reader) doubt(format string, args ...any) {
	r.unsure = append(r.unsure, fmt.Sprintf(format, args...))
}

// add takes a column for a field of a kind; a kind stands in a profile once.
func (r *reader) add(c column, kind, name, told string, settings ...string) {
	if c.gaps() && r.form() != "binary" && kind != "torque" && kind != "unit" && kind != "unread" {
		settings = append(settings, "optional: true")
		told += "; it is empty at times"
	}
	r.kinds[kind] = true
	r.fields = append(r.fields, field{c, kind, name, settings, c.called + ": " + told})
}

// read gives every column its meaning. Columns that mean nothing for sure are not read.
func (r *reader) read() {
	r.kinds, r.pulls = map[string]bool{}, len(distinct(r.samples))
	free := r.rest(r.taken())
	free = r.direction(free)
	r.torqueField(free)
	for _, c := range free {
		if r.unit != nil && c.from == r.unit.from && c.to == r.unit.to {
			r.unitField(c)
			continue
		}
		if !r.kinds["unit"] && r.unit == nil && r.codedUnit(c) {
			continue
		}
		r.other(c)
	}
	slices.SortStableFunc(r.fields, func(a, b field) int { return a.from - b.from })
}

func (r *reader) taken() []column {
	taken := []column{r.torque.column}
	if !r.angle.none {
		taken = append(taken, r.angle.column)
	}
	return taken
}

// torqueField writes torque and angle. The unit comes from a field, or from what was shown.
func (r *reader) torqueField(free []column) {
	settings := r.numberSettings(r.torque, true)
	if !r.unitFromField(free) {
		settings = append([]string{"unit: " + string(r.shown[0].Unit)}, settings...)
		r.doubt("No field was seen to spell the unit: every torque is taken to be in %s, as shown. If the wrench can be set to another unit, "+
			"look in the manual whether the line says so.", r.shown[0].Unit)
	}
	r.add(r.torque.column, "torque", "torque", r.foundNumber(r.torque, "torque", func(s Shown) string { return s.Torque.number + " " + string(s.Unit) }), settings...)
	if l, ok := r.layout.(*bytesAt); ok && l.room(r.torque.column) {
		r.doubt("The two bytes beside the torque (%s) that would be its high ones were always nought: the torque may have four bytes. "+
			"Record a pull of more than %s to see.", r.torque.called, r.most())
	}
	if r.angle.none {
		r.doubt("No angle was shown, so none is read. If the wrench measures angles, give them with --shown.")
		return
	}
	r.add(r.angle.column, "angle", "angle", r.foundNumber(r.angle, "angle", func(s Shown) string {
		if s.Angle == nil {
			return ""
		}
		return s.Angle.number + "°"
	}), r.numberSettings(r.angle, false)...)
}

// most is the largest torque that two bytes hold.
func (r *reader) most() string {
	number := "65535"
	if r.torque.signed {
		number = "32767"
	}
	return shifted(number, r.torque.places) + " " + string(r.shown[0].Unit)
}

func (r *reader) unitFromField(free []column) bool {
	return r.unit != nil || slices.ContainsFunc(free, r.codesUnit)
}

func (r *reader) foundNumber(s scaled, what string, shown func(Shown) string) string {
	var at []string
	for i, want := range r.shown {
		if text := shown(want); text != "" && len(at) < 2 {
			at = append(at, fmt.Sprintf("%q where %s was shown", s.cells[r.at[i]], text))
		}
	}
	return "the " + what + ": " + strings.Join(at, ", ")
}

// numberSettings are scale, decimal sign, decimals and the meaning of a minus.
func (r *reader) numberSettings(s scaled, torque bool) (settings []string) {
	if s.places > 0 {
		settings = append(settings, "scale: "+scaleOf(s.places))
	} else if !s.binary {
		settings = append(settings, fmt.Sprintf("decimals: %d", r.decimals(s)))
	}
	if comma(s.column) {
		settings = append(settings, "decimal: comma")
	}
	if none := s.noneText(); none != "" && !torque {
		settings = append(settings, "none: "+quotedText(none))
	}
	switch {
	case !s.minus():
	case !torque && !r.turnsWith(s):
		settings = append(settings, "minus: kept")
	case !r.kinds["direction"]:
		settings = append(settings, "minus: loosens")
		r.hasWay = true
		if torque && !slices.ContainsFunc(r.shown, func(w Shown) bool { return w.Direction == device.Loosen }) {
			r.doubt("Some torques have a minus, which is taken for loosening: show one of them to be sure.")
		}
	}
	return settings
}

// noneText is what stands in the column where there is no number: always the same text, or the largest number that fits.
func (s scaled) noneText() (none string) {
	for _, t := range s.distinct() {
		_, number := numberOf(t)
		if number && !(s.binary && slices.Contains([]string{"32767", "-32768", "65535", "2147483647", "4294967295"}, t)) {
			continue
		}
		if none != "" || len(t) > mostCode {
			return ""
		}
		none = t
	}
	return none
}

func comma(c column) bool {
	return slices.ContainsFunc(c.cells, func(t string) bool { return strings.Contains(t, ",") })
}

func (r *reader) decimals(s scaled) (most int) {
	for _, t := range s.cells {
		if n, ok := numberOf(t); ok {
			most = max(most, quantityOf(n).places)
		}
	}
	return min(most, 6)
}

func quotedText(t string) string { return quoted([]byte(t)) }

// rises says whether the numbers count: from one pull to the next by one, mostly, and never back.
func rises(cells []string) bool {
	steps, jumps, last := 0, 0, int64(-1)
	for _, t := range cells {
		n, err := strconv.ParseInt(t, 10, 64)
		switch {
		case err != nil || n < 0 || n < last || n > last+20 && last >= 0:
			return false
		case last >= 0 && n == last+1:
			steps++
		case last >= 0 && n > last+1:
			jumps++
		}
		last = n
	}
	return steps >= 1 && jumps*3 <= steps
}
