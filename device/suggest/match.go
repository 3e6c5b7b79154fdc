package suggest

import (
	"cmp"
	"math"
	"slices"
	"strings"

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

// fit is how well a frame holds a shown value.
type fit int8

const (
	apart fit = iota
	near      // it rounds to what was shown
	exact
)

func fitOf(fits, exactly bool) fit {
	switch {
	case exactly:
		return exact
	case fits:
		return near
	}
	return apart
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

// fitting gives the columns and scales that hold every shown value in some order of frames, the best first.
func fitting(columns []column, fits func(scaled) [][]fit) (all []scaled) {
	for _, c := range columns {
		for places := 0; places <= 3 && (places == 0 || !c.points()); places++ {
			s := scaled{column: c, places: places}
			s.fits = fits(s)
			if s.fits == nil || !inOrder(s.fits, nil) {
				continue
			}
			s.rounded = slices.ContainsFunc(s.fits, func(row []fit) bool { return !slices.Contains(row, exact) })
			all = append(all, s)
		}
	}
	slices.SortStableFunc(all, func(a, b scaled) int { return cmp.Compare(a.total(), b.total()) })
	return all[:min(len(all), mostColumns)]
}

// mostColumns bounds the columns of one kind that are paired with those of another.
const mostColumns = 60

// points says whether numbers in the column have a decimal sign of their own.
func (c column) points() bool {
	return slices.ContainsFunc(c.cells, func(s string) bool { return strings.ContainsAny(s, ".,") })
}

// number is the text of a cell as a profile will read it.
func (s scaled) number(frame int) (string, bool) {
	n, ok := numberOf(s.cells[frame])
	if !ok {
		return "", false
	}
	return shifted(n, s.places), true
}

// torqueFits compares every frame with every shown torque; nil: some shown one is in no frame.
func torqueFits(s scaled, unitAt *column, shown []Shown) [][]fit {
	values := map[unit.TorqueUnit][]unit.Torque{}
	of := func(u unit.TorqueUnit) []unit.Torque {
		if values[u] == nil {
			values[u] = s.torques(u, unitAt)
		}
		return values[u]
	}
	return compared(s, shown, func(want Shown, n int) fit {
		if v := of(want.Unit)[n]; v != unmeasured {
			return fitOf(want.torqueFits(v))
		}
		return apart
	})
}

// unmeasured stands where a cell holds no number.
const unmeasured = math.MinInt64

// torques are the cells as torques, in the unit that the frame spells or else in the one given.
func (s scaled) torques(u unit.TorqueUnit, unitAt *column) []unit.Torque {
	values := make([]unit.Torque, len(s.cells))
	for n := range values {
		if unitAt != nil {
			u, _ = unit.ParseTorqueUnit(unitAt.cells[n])
		}
		values[n] = unmeasured
		if number, ok := s.number(n); ok {
			if v, err := unit.TorqueIn(number, u); err == nil {
				values[n] = v
			}
		}
	}
	return values
}

// angleFits compares every frame with every shown angle, as torqueFits does. Where none was written down, any will do.
func angleFits(s scaled, shown []Shown) [][]fit {
	values := make([]unit.Angle, len(s.cells))
	for n := range values {
		values[n] = unmeasured
		if number, ok := s.number(n); ok {
			if v, err := unit.AngleOf(number); err == nil {
				values[n] = v
			}
		}
	}
	return compared(s, shown, func(want Shown, n int) fit {
		switch {
		case want.Angle == nil:
			return exact
		case values[n] == unmeasured:
			return apart
		}
		return fitOf(want.angleFits(values[n]))
	})
}

func compared(s scaled, shown []Shown, one func(want Shown, frame int) fit) [][]fit {
	all := make([][]fit, len(shown))
	for i, want := range shown {
		all[i] = make([]fit, len(s.cells))
		best := apart
		for n := range s.cells {
			all[i][n] = one(want, n)
			best = max(best, all[i][n])
		}
		if best == apart {
			return nil
		}
	}
	return all
}

// inOrder says whether every shown value has a frame, each a later one; at takes the frames if it is not nil.
func inOrder(fits [][]fit, at *[]int) bool {
	n := 0
	for _, row := range fits {
		for n < len(row) && row[n] == apart {
			n++
		}
		if n == len(row) {
			return false
		}
		if at != nil {
			*at = append(*at, n)
		}
		n++
	}
	return true
}

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
