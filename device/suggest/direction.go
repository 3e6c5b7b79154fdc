package suggest

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"witnessmark/device"
)

// opposites pairs the signs by which wrenches tell tightening from loosening, in both directions (common practice).
var opposites = [][2]string{{"R", "L"}, {"CW", "CCW"}, {"RH", "LH"}, {"RIGHT", "LEFT"}, {"TIGHTEN", "LOOSEN"}, {"CLOCKWISE", "ANTICLOCKWISE"}, {"+", "-"}}

func tellsDirection(text string) bool {
	return slices.ContainsFunc(opposites, func(o [2]string) bool { return strings.ToUpper(text) == o[0] || strings.ToUpper(text) == o[1] })
}

// direction finds the column that tells tightening from loosening, by what was shown or by its letters, and takes it
// out of the free ones.
func (r *reader) direction(free []column) []column {
	if r.torque.minus() {
		return free // the sign tells it
	}
	found := r.ways(free)
	if l, ok := r.layout.(*bytesAt); ok && len(found) == 0 {
		found = slices.DeleteFunc(r.ways(l.bits(r.taken())), func(w way) bool { return w.sure < follows })
	}
	if len(found) == 0 {
		return free
	}
	best := found[0]
	if len(found) > 1 && found[1].sure == best.sure {
		other := found[1]
		if best.sure == guessed {
			r.doubt("%q stood in %s in every frame and %q in %s: one of them may tell the direction. Record a pull that loosens and show it.",
				best.tighten, best.called, other.tighten, other.called)
			return free
		}
		r.doubt("The direction was taken from %s; %s changes with it as well, so look in the manual which of them it is.", best.called, other.called)
	}
	r.hasWay, r.guessedWay = true, best.sure == guessed
	r.add(best.column, "direction", "direction", best.told, "tighten: "+quotedText(best.tighten), "loosen: "+quotedText(best.loosen))
	if best.doubt != "" {
		r.unsure = append(r.unsure, best.doubt)
	}
	return slices.DeleteFunc(slices.Clone(free), func(c column) bool { return c.called == best.called })
}

// way is how a column tells the direction.
type way struct {
	column
	tighten, loosen string
	told, doubt     string
	sure            certainty
}

// certainty is why a column is believed to tell the direction.
type certainty int

const (
	guessed      certainty = iota // one of the usual letters, which never changed
	both                          // the usual letters of both directions
	follows                       // it changes with what was shown
	followsUsual                  // and has the usual letters
)

// ways are the columns that may tell the direction, the surest first.
func (r *reader) ways(columns []column) (found []way) {
	known := directionsShown(r.guess, r.shown)
	for _, c := range columns {
		if r.unit != nil && c.overlaps(*r.unit) {
			continue
		}
		if w, ok := r.way(c, known); ok {
			w.column = c
			found = append(found, w)
		}
	}
	slices.SortStableFunc(found, func(a, b way) int { return cmp.Compare(b.sure, a.sure) })
	return found
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
	w.sure, w.tighten = follows, texts[0]
	if w.tighten == w.loosen {
		w.tighten = texts[1]
	}
	if tellsDirection(w.tighten) && tellsDirection(w.loosen) {
		w.sure = followsUsual
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
			w.sure, w.told = both, fmt.Sprintf("%q is taken for tightening, %q for loosening", right, left)
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

func (c column) minus() bool {
	return slices.ContainsFunc(c.cells, func(t string) bool { return strings.HasPrefix(t, "-") && strings.Trim(t, "-") != "" })
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
