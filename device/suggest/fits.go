package suggest

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"witnessmark/device/unit"
)

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
