package drawing

import (
	"fmt"
	"math"
	"strings"

	"witnessmark/audit/bench"
)

// Shape tells without colour how a fastener stands.
type Shape int

// The shapes.
const (
	Hexagon Shape = iota // in its turn
	Diamond              // done, but out of its turn
	Ring                 // open
	Square               // failed
	Ghost                // the stage leaves it alone
)

// Point is a place in a layout, y downwards.
type Point struct{ X, Y float64 }

// Head is one fastener of a layout.
type Head struct {
	Point
	Shape Shape
	Turn  string // in the head; empty: none
	ID    string // below it
	Note  string // below that, what is not as wanted; empty: nothing
}

// Layout is a picture in units of its own: heads of the given radius, whatever the joint measures.
type Layout struct {
	Title                 string
	Width, Height, Radius float64
	Heads                 []Head  // as listed in the procedure
	Way                   []Point // from the first turn to the last
	ToScale               bool    // false: the fasteners stand in rows, for the procedure gives no places
}

// The looks of the drawing: a head of 2·head across corners.
const (
	head   = 22.0
	margin = 40.0
	least  = 3.7 * head // distance of the two nearest fasteners
)

// Layout places the heads. Whatever draws the picture, draws these.
func (p Picture) Layout() Layout {
	left, right, low, high := p.extent()
	scale := p.scale()
	l := Layout{Title: p.title, Radius: head, ToScale: p.placed,
		Width: (right-left)*scale + 2*(head+margin), Height: (high-low)*scale + 2*(head+margin)}
	at := func(s spot) Point {
		return Point{(s.x-left)*scale + head + margin, (high-s.y)*scale + head + margin}
	}
	for _, s := range p.spots {
		l.Heads = append(l.Heads, s.head(at(s)))
	}
	for _, s := range p.order() {
		l.Way = append(l.Way, at(s))
	}
	return l
}

// scale is such that the two nearest fasteners have room.
func (p Picture) scale() float64 {
	nearest := 0.0
	for i, a := range p.spots {
		for _, b := range p.spots[:i] {
			if d := math.Hypot(a.x-b.x, a.y-b.y); nearest == 0 || d < nearest {
				nearest = d
			}
		}
	}
	if nearest == 0 {
		return 1
	}
	return least / nearest
}

func (s spot) head(at Point) Head {
	h := Head{Point: at, ID: s.id}
	if s.turn != 0 {
		h.Turn = fmt.Sprint(s.turn)
	}
	switch {
	case s.real == nil && s.turn == 0:
		h.Shape = Ghost
	case s.real != nil:
		h.Shape, h.Note = s.real.looks()
		if h.Shape == Square {
			h.Turn = "×"
		}
		if s.real.Hits > 1 {
			h.Note = strings.TrimPrefix(fmt.Sprintf("%s, %d hits", h.Note, s.real.Hits), ", ")
		}
	}
	return h
}

func (t *Turn) looks() (Shape, string) {
	switch {
	case t.State == bench.Failed:
		return Square, string(t.Verdict)
	case t.State == bench.Open:
		return Ring, "open"
	case t.OutOfTurn && t.Real == t.Wanted: // at its turn in this stage, but not among the stages
		return Diamond, "out of turn"
	case t.OutOfTurn:
		return Diamond, fmt.Sprintf("wanted %d", t.Wanted)
	}
	return Hexagon, ""
}

// Corners is the outline of a shape of radius r around a point; a Ring has many.
func (s Shape) Corners(at Point, r float64) []Point {
	n, first := 6, 0.0
	switch s {
	case Diamond:
		n, r = 4, r*1.15
	case Square:
		n, first, r = 4, math.Pi/4, r*1.15
	case Ring:
		n = 36
	}
	corners := make([]Point, n)
	for k := range n {
		a := first + 2*math.Pi*float64(k)/float64(n)
		corners[k] = Point{at.X + r*math.Cos(a), at.Y + r*math.Sin(a)}
	}
	return corners
}
