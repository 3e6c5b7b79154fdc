// Package drawing draws a joint as a person looks at it: every fastener at its place, with the number at which it is to be
// tightened, or at which it really was. The same picture is drawn as text for a terminal, as SVG for a page and as PDF.
package drawing

import (
	"slices"

	"witnessmark/audit/procedure"
)

// spot is a fastener in the drawing.
type spot struct {
	id   string
	turn int     // at which it is tightened, from 1; 0: not in this stage
	real *Turn   // how it was done; nil: the picture is of the wanted order, or the fastener is not in this stage
	x, y float64 // mm, y upwards
}

// Picture is a joint laid out for one of its stages.
type Picture struct {
	title  string
	spots  []spot // as listed
	placed bool   // false: the file gives no places, so they stand in a row
}

// Of lays out joint j for a stage, counted from 0. A joint whose fasteners have no places is drawn as a row.
func Of(j *procedure.Joint, stage int) Picture {
	p := Picture{title: j.Title + ", stage " + j.Stages[stage].ID, placed: true}
	turns := map[int]int{}
	for _, s := range j.Sequence() {
		if s.Stage == stage {
			turns[s.Fastener] = len(turns) + 1
		}
	}
	for i, f := range j.Fasteners {
		p.placed = p.placed && f.Placed
		p.spots = append(p.spots, spot{id: f.ID, turn: turns[i], x: float64(f.X) / 1e6, y: float64(f.Y) / 1e6})
	}
	if !p.placed {
		return p.InRows(10)
	}
	return p
}

// Real lays out joint j for a stage, counted from 0, with the turns in which it was done: those that Turns gave for it.
func Real(j *procedure.Joint, stage int, turns []Turn) Picture {
	p := Of(j, stage)
	for i := range p.spots {
		p.spots[i].turn = 0
		k := slices.IndexFunc(turns, func(t Turn) bool { return t.Fastener == p.spots[i].id })
		if k >= 0 {
			p.spots[i].real, p.spots[i].turn = &turns[k], turns[k].Real
		}
	}
	return p
}

// InRows is the same picture with the fasteners in rows of so many as they are listed, for where there are no places, or
// they leave no room.
func (p Picture) InRows(n int) Picture {
	p.spots, p.placed = slices.Clone(p.spots), false
	for i := range p.spots {
		p.spots[i].x, p.spots[i].y = float64(i%n)*60, -float64(i/n)*60
	}
	return p
}

// order is the spots that take part, in the order in which they are tightened.
func (p Picture) order() []spot {
	all := slices.DeleteFunc(slices.Clone(p.spots), func(s spot) bool { return s.turn == 0 })
	slices.SortFunc(all, func(a, b spot) int { return a.turn - b.turn })
	return all
}

// extent is the smallest box around all spots.
func (p Picture) extent() (left, right, low, high float64) {
	left, right, low, high = p.spots[0].x, p.spots[0].x, p.spots[0].y, p.spots[0].y
	for _, s := range p.spots {
		left, right, low, high = min(left, s.x), max(right, s.x), min(low, s.y), max(high, s.y)
	}
	return left, right, low, high
}

// gap is the smallest distance between two spots along either axis, taken of those that differ at all.
func (p Picture) gap() (x, y float64) {
	for i, a := range p.spots {
		for _, b := range p.spots[:i] {
			x, y = less(x, a.x-b.x), less(y, a.y-b.y)
		}
	}
	return x, y
}

func less(so, d float64) float64 {
	d = max(d, -d)
	if d > 0.5 && (so == 0 || d < so) {
		return d
	}
	return so
}
