package suggest

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"witnessmark/device"
	"witnessmark/device/unit"
)

// judgements are the words by which wrenches say what they think of a pull (common practice).
var judgements = map[string]device.Judgement{
	"OK": device.JudgedPass, "PASS": device.JudgedPass, "GO": device.JudgedPass, "GOOD": device.JudgedPass, "IO": device.JudgedPass,
	"LO": device.JudgedLow, "LOW": device.JudgedLow, "HI": device.JudgedHigh, "HIGH": device.JudgedHigh,
	"NG": device.JudgedFail, "NOK": device.JudgedFail, "NOGO": device.JudgedFail, "FAIL": device.JudgedFail, "BAD": device.JudgedFail, "NIO": device.JudgedFail,
}

// opposites pairs the signs by which wrenches tell tightening from loosening, in both directions (common practice).
var opposites = [][2]string{{"R", "L"}, {"CW", "CCW"}, {"RH", "LH"}, {"RIGHT", "LEFT"}, {"TIGHTEN", "LOOSEN"}, {"CLOCKWISE", "ANTICLOCKWISE"}, {"+", "-"}}

func tellsDirection(text string) bool {
	return slices.ContainsFunc(opposites, func(o [2]string) bool { return strings.ToUpper(text) == o[0] || strings.ToUpper(text) == o[1] })
}

// reader is what finds out what the columns mean that hold neither torque nor angle.
type reader struct {
	table
	guess
	shown      []Shown
	fields     []field
	unsure     []string
	pulls      int // frames that differ
	hasUnit    bool
	hasWay     bool // something tells the direction
	guessedWay bool // by a letter that never changes
	kinds      map[string]bool
	settings   []string
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

// turnsWith says whether the sign of an angle tells the direction: it must agree with that of the torque, or with what
// was shown where the torque has no sign.
func (r *reader) turnsWith(angle scaled) bool {
	known := directionsShown(r.guess, r.shown)
	for n, t := range angle.cells {
		minus := strings.HasPrefix(t, "-")
		if t == "" || strings.Trim(t, "+-0.,") == "" {
			continue
		}
		switch shown, ok := known[n]; {
		case r.kinds["direction"]:
			return false
		case r.torque.minus() && minus != strings.HasPrefix(r.torque.cells[n], "-"):
			return false
		case ok && minus != (shown == device.Loosen):
			return false
		}
	}
	return r.torque.minus() || len(known) > 0
}

// noneText is what stands in the column where there is no number: always the same text, or the largest number that fits.
func (s scaled) noneText() (none string) {
	for _, t := range s.distinct() {
		_, number := numberOf(t)
		if number && !(s.binary && slices.Contains([]string{"32767", "-32768", "65535", "2147483647", "4294967295"}, t)) {
			continue
		}
		if none != "" || len(t) > 16 {
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

// direction finds the column that tells tightening from loosening, by what was shown or by its letters, and takes it
// out of the free ones.
func (r *reader) direction(free []column) []column {
	if r.torque.minus() {
		return free // the sign tells it
	}
	known := directionsShown(r.guess, r.shown)
	var found []way
	for i, c := range free {
		if r.unit != nil && c.overlaps(*r.unit) {
			continue
		}
		if w, ok := r.way(c, known); ok {
			w.at = i
			found = append(found, w)
		}
	}
	if l, ok := r.layout.(*bytesAt); ok && len(found) == 0 {
		for _, c := range l.bits(r.taken()) {
			if w, ok := r.way(c, known); ok && w.sure == 2 {
				r.hasWay = true
				r.add(c, "direction", "direction", w.told, "tighten: "+quotedText(w.tighten), "loosen: "+quotedText(w.loosen))
				return free
			}
		}
	}
	slices.SortStableFunc(found, func(a, b way) int { return cmp.Compare(b.sure, a.sure) })
	if len(found) == 0 {
		return free
	}
	best := found[0]
	if len(found) > 1 && best.sure == 0 && found[1].sure == 0 {
		r.doubt("%q stood in %s in every frame and %q in %s: one of them may tell the direction. Record a pull that loosens and show it.",
			best.tighten, free[best.at].called, found[1].tighten, free[found[1].at].called)
		return free
	}
	r.hasWay, r.guessedWay = true, best.sure == 0
	r.add(free[best.at], "direction", "direction", best.told, "tighten: "+quotedText(best.tighten), "loosen: "+quotedText(best.loosen))
	if best.doubt != "" {
		r.unsure = append(r.unsure, best.doubt)
	}
	return slices.Delete(slices.Clone(free), best.at, best.at+1)
}

// way is how a column tells the direction.
type way struct {
	at              int
	tighten, loosen string
	told, doubt     string
	sure            int // 2: it follows what was shown; 1: it has both letters; 0: one of them
}

func (c column) minus() bool {
	return slices.ContainsFunc(c.cells, func(t string) bool { return strings.HasPrefix(t, "-") && strings.Trim(t, "-") != "" })
}

// way says which text of the column tightens and which loosens.
func (r *reader) way(c column, known map[int]device.Direction) (w way, ok bool) {
	texts := c.distinct()
	if len(texts) == 0 || len(texts) > 2 || c.gaps() || slices.ContainsFunc(texts, func(t string) bool { return len(t) > 15 }) {
		return w, false
	}
	for n, shown := range known {
		text := c.cells[n]
		switch {
		case shown == device.Tighten && (w.tighten == "" || w.tighten == text):
			w.tighten = text
		case shown == device.Loosen && (w.loosen == "" || w.loosen == text):
			w.loosen = text
		default:
			return w, false // it changes while the direction stays
		}
	}
	if w.loosen == "" {
		w, ok = wayByLetter(texts)
		return w, ok && r.hasRoom(c, w.loosen)
	}
	if len(texts) < 2 || w.tighten == w.loosen {
		return w, false
	}
	w.sure, w.tighten = 2, texts[0]
	if w.tighten == w.loosen {
		w.tighten = texts[1]
	}
	w.told = fmt.Sprintf("%q where it was shown to loosen, %q elsewhere", w.loosen, w.tighten)
	return w, true
}

func wayByLetter(texts []string) (w way, ok bool) {
	for _, pair := range opposites {
		right, left := pair[0], pair[1]
		if texts[0] == strings.ToLower(texts[0]) {
			right, left = strings.ToLower(right), strings.ToLower(left)
		}
		w = way{tighten: right, loosen: left}
		switch {
		case len(texts) == 2 && slices.Contains(texts, right) && slices.Contains(texts, left):
			w.sure, w.told = 1, fmt.Sprintf("%q is taken for tightening, %q for loosening", right, left)
			w.doubt = fmt.Sprintf("%q and %q are taken for tightening and loosening: show one pull of each kind to be sure.", right, left)
			return w, true
		case len(texts) == 1 && texts[0] == right:
			w.told = fmt.Sprintf("always %q, taken for tightening", right)
			w.doubt = fmt.Sprintf("The direction was always %q: write what the wrench sends when it loosens; %q is a guess.", right, left)
			return w, true
		}
	}
	return w, false
}

// codesUnit says whether the column has another text for every unit that was shown, and at least two units were.
func (r *reader) codesUnit(c column) bool {
	spelled, ok := r.codes(c)
	return ok && len(spelled) > 1
}

// codes is the unit that each text of the column stands for.
func (r *reader) codes(c column) (map[string]unit.TorqueUnit, bool) {
	spelled := map[string]unit.TorqueUnit{}
	used := map[unit.TorqueUnit]string{}
	for i, s := range r.shown {
		t := c.cells[r.at[i]]
		if u, known := spelled[t]; t == "" || known && u != s.Unit {
			return nil, false
		}
		if other, known := used[s.Unit]; known && other != t {
			return nil, false
		}
		spelled[t], used[s.Unit] = s.Unit, t
	}
	return spelled, len(c.distinct()) <= 10
}

func (r *reader) codedUnit(c column) bool {
	if !r.codesUnit(c) {
		return false
	}
	spelled, _ := r.codes(c)
	var pairs []string
	for _, t := range c.distinct() {
		if u, known := spelled[t]; known {
			pairs = append(pairs, quotedText(t)+": "+string(u))
		}
	}
	r.add(c, "unit", "unit", "the unit: it changes with the unit that was shown", "spelled: {"+strings.Join(pairs, ", ")+"}")
	r.doubt("The unit stands in the line as a code, of which only those that were shown are known: %s.", strings.Join(pairs, ", "))
	return true
}

func (r *reader) unitField(c column) {
	var pairs []string
	for _, t := range c.distinct() {
		if u, err := unit.ParseTorqueUnit(t); err == nil {
			pairs = append(pairs, quotedText(t)+": "+string(u))
		}
	}
	r.add(c, "unit", "unit", "the unit of the torque", "spelled: {"+strings.Join(pairs, ", ")+"}")
	if len(pairs) == 1 {
		r.doubt("The unit was always %s: add how the wrench spells its other units, or a torque in one of them is refused.", sayTexts(c.distinct()))
	}
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
