package suggest

import (
	"cmp"
	"slices"

	"witnessmark/device"
	"witnessmark/device/unit"
)

// guess is one way in which the shown values may stand in the frames.
type guess struct {
	torque, angle scaled
	unit          *column // the column that spells the unit; nil: the frames do not say it
	at            []int   // the frame of each shown value
	sure          bool    // no other frames would do as well
	rivals        []string
}

// scaled is a column and how far its decimal point is to be moved.
type scaled struct {
	column
	places  int
	rounded bool    // some shown value is in no frame to the last digit: the display shows fewer
	fits    [][]fit // by shown value, then by frame
	none    bool    // there is no such column
}

// match finds the columns that hold the shown torques, and angles where they were written down, in the order shown.
// The best guess comes first.
func match(t table, shown []Shown) []guess {
	columns := t.columns()
	unitAt := unitColumn(t)
	torques := fitting(columns, func(s scaled) [][]fit { return torqueFits(s, unitAt, shown) })
	angles := []scaled{{none: true}}
	if slices.ContainsFunc(shown, func(s Shown) bool { return s.Angle != nil }) {
		angles = fitting(columns, func(s scaled) [][]fit { return angleFits(s, shown) })
	}
	var found []guess
	for _, torque := range torques {
		for _, angle := range angles {
			if !angle.none && torque.overlaps(angle.column) {
				continue
			}
			if g, ok := align(t, torque, angle, unitAt, shown); ok {
				found = append(found, g)
			}
		}
	}
	slices.SortStableFunc(found, func(a, b guess) int { return cmp.Compare(a.cost(), b.cost()) })
	for i := range found {
		found[i].rivals = rivals(found[i], torques, angles)
	}
	return found
}

// total is least for a number that stands in the frame as the display shows it.
func (s scaled) total() int {
	c := s.cost
	if s.rounded {
		c += 30
	}
	return c
}

func (g guess) cost() int {
	c := g.torque.total()
	if !g.angle.none {
		c += g.angle.total()
		if g.angle.from < g.torque.from {
			c++
		}
	}
	return c
}

// unitColumn is the column in which every frame spells a unit of torque.
func unitColumn(t table) *column {
	for _, c := range t.rest(nil) {
		if !c.gaps() && !slices.ContainsFunc(c.distinct(), func(s string) bool {
			_, err := unit.ParseTorqueUnit(s)
			return err != nil
		}) {
			return &c
		}
	}
	return nil
}

// mostColumns bounds the columns of one kind that are paired with those of another.
const mostColumns = 60

// align joins a column of torques and one of angles: both must hold what was shown in the same frames.
func align(t table, torque, angle scaled, unitAt *column, shown []Shown) (guess, bool) {
	both := torque.fits
	if !angle.none {
		both = make([][]fit, len(shown))
		for i := range shown {
			both[i] = make([]fit, len(t.samples))
			for n := range t.samples {
				both[i][n] = min(torque.fits[i][n], angle.fits[i][n])
			}
		}
	}
	g := guess{torque: torque, angle: angle, unit: unitAt}
	if !inOrder(both, &g.at) {
		return guess{}, false
	}
	g.sure = slices.Equal(g.at, fromBehind(both)) || sameFrames(t, g.at, fromBehind(both))
	return g, true
}

// fromBehind is the last frames that would do.
func fromBehind(fits [][]fit) []int {
	at := make([]int, len(fits))
	n := len(fits[0]) - 1
	for i := len(fits) - 1; i >= 0; i-- {
		for n >= 0 && fits[i][n] == apart {
			n--
		}
		at[i] = n
		n--
	}
	return at
}

// sameFrames says whether other frames are the same bytes: a wrench that sent again.
func sameFrames(t table, a, b []int) bool {
	for i := range a {
		if b[i] < 0 || string(t.samples[a[i]].bytes) != string(t.samples[b[i]].bytes) {
			return false
		}
	}
	return true
}

// rivals are other columns that hold the same values: which of them is meant is not known.
func rivals(g guess, torques, angles []scaled) (called []string) {
	add := func(chosen scaled, all []scaled) {
		for _, s := range all {
			if !s.overlaps(g.torque.column) && (g.angle.none || !s.overlaps(g.angle.column)) && !slices.Contains(called, s.called) && chosen.total()+15 >= s.total() {
				called = append(called, s.called)
			}
		}
	}
	add(g.torque, torques)
	if !g.angle.none {
		add(g.angle, angles)
	}
	return called
}

// directionsShown is the direction of each frame that was shown. Who writes down that one loosened means that the others
// did not; where nobody did, nothing is known of those without a word.
func directionsShown(g guess, shown []Shown) map[int]device.Direction {
	known := map[int]device.Direction{}
	loosened := slices.ContainsFunc(shown, func(s Shown) bool { return s.Direction == device.Loosen })
	for i, s := range shown {
		switch {
		case s.Direction != "":
			known[g.at[i]] = s.Direction
		case loosened:
			known[g.at[i]] = device.Tighten
		}
	}
	return known
}
