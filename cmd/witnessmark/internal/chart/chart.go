// Package chart lays out the pictures of a stage: the torque of every pull in the order of pulling, and over its angle. The
// same picture is drawn on the build sheet and on the pages.
package chart

import (
	"math"
	"slices"
	"strconv"

	"witnessmark/audit/procedure"
	"witnessmark/cmd/witnessmark/internal/worked"
	"witnessmark/device/unit"
)

// Chart is a picture with two axes. All values lie within them.
type Chart struct {
	Across, Up Axis
	Windows    []Box   // what is accepted
	Limits     []Limit // of a window, where each pull stands before its own
	Points     []Point
}

// Axis is an axis with its ticks, in the unit that Name says.
type Axis struct {
	Name      string
	Low, High float64
	Ticks     []float64
}

// Box is a part of the picture.
type Box struct{ Left, Right, Low, High float64 }

// Limit is a level line.
type Limit struct{ Left, Right, At float64 }

// Point is a pull.
type Point struct {
	X, Y  float64
	Shape Shape
	Label string // of one that is not good: its fastener
}

// Shape tells without colour how a pull was.
type Shape int

// The shapes.
const (
	Dot      Shape = iota // good
	Ring                  // good, of a fastener that was done
	Triangle              // not good
)

// Legend says what the shapes and lines mean.
const Legend = "dot: good  ·  ring: good, hit again  ·  triangle: not good  ·  yellow: the window  ·  broken line: its limit"

// Torque is the name of the axis of a stage's torques.
func Torque(s *worked.Stage, u unit.TorqueUnit) string {
	if slices.ContainsFunc(s.Pulls, func(p worked.Pull) bool { return p.Words.Applied != "" }) {
		return "torque at the fastener, " + string(u)
	}
	return "torque, " + string(u)
}

// ByOrder is the torque by the order of pulling, each pull before its own window.
func ByOrder(s *worked.Stage, u unit.TorqueUnit) Chart {
	across, up := span{counts: true}, span{}
	across.hold(1, float64(len(s.Pulls)))
	up.torques(s, u)
	c := Chart{Across: across.axis("pull", 6), Up: up.axis(Torque(s, u), 5)}
	for from := 0; from < len(s.Pulls); {
		w, to := s.Pulls[from].Figures.Torques, from
		for to < len(s.Pulls) && s.Pulls[to].Figures.Torques == w {
			to++
		}
		if w.Set {
			b := c.cut(Box{float64(from) + 0.5, float64(to) + 0.5, worked.Number(w.Low, u), worked.Number(w.High, u)})
			c.Windows = append(c.Windows, b)
			c.Limits = append(c.Limits, Limit{b.Left, b.Right, b.Low}, Limit{b.Left, b.Right, b.High})
		}
		from = to
	}
	for i := range s.Pulls {
		c.Points = append(c.Points, point(float64(i+1), &s.Pulls[i], u))
	}
	return c
}

// ByAngle is the torque over the angle, before the windows of the stage. It is false where the wrench sent no angles.
func ByAngle(s *worked.Stage, u unit.TorqueUnit) (Chart, bool) {
	across, up, sent := span{}, span{}, false
	up.torques(s, u)
	for i := range s.Pulls {
		p := &s.Pulls[i]
		if p.Angle != nil {
			sent = true
			across.hold(worked.Degrees(*p.Angle))
		}
		if w := p.Figures.Angles; w.Set {
			across.hold(worked.Degrees(w.Low), worked.Degrees(w.High))
		}
	}
	if !sent {
		return Chart{}, false
	}
	c := Chart{Across: across.axis("angle, °", 6), Up: up.axis(Torque(s, u), 5)}
	c.windows(s, u)
	for i := range s.Pulls {
		if p := &s.Pulls[i]; p.Angle != nil {
			c.Points = append(c.Points, point(worked.Degrees(*p.Angle), p, u))
		}
	}
	return c, true
}

// windows adds the window of the stage, and that of every fastener that has one of its own.
func (c *Chart) windows(s *worked.Stage, u unit.TorqueUnit) {
	drawn := map[procedure.Figures]bool{}
	for i := range s.Pulls {
		w := s.Pulls[i].Figures
		if drawn[w] || !w.Angles.Set && !w.Torques.Set {
			continue
		}
		drawn[w] = true
		b := Box{c.Across.Low, c.Across.High, c.Up.Low, c.Up.High}
		if w.Angles.Set {
			b.Left, b.Right = worked.Degrees(w.Angles.Low), worked.Degrees(w.Angles.High)
		}
		if w.Torques.Set {
			b.Low, b.High = worked.Number(w.Torques.Low, u), worked.Number(w.Torques.High, u)
		}
		c.Windows = append(c.Windows, c.cut(b))
	}
}

// cut leaves of a box what lies in the picture.
func (c *Chart) cut(b Box) Box {
	return Box{max(b.Left, c.Across.Low), min(b.Right, c.Across.High), max(b.Low, c.Up.Low), min(b.High, c.Up.High)}
}

func point(x float64, p *worked.Pull, u unit.TorqueUnit) Point {
	out := Point{X: x, Y: worked.Number(p.Torque, u)}
	switch {
	case !p.Good():
		out.Shape, out.Label = Triangle, p.Fastener
	case p.Again():
		out.Shape = Ring
	}
	return out
}

// span widens to hold values.
type span struct {
	low, high float64
	set       bool
	counts    bool // of whole numbers, a unit wide each
}

func (s *span) hold(values ...float64) {
	for _, v := range values {
		if !s.set {
			s.low, s.high, s.set = v, v, true
		}
		s.low, s.high = min(s.low, v), max(s.high, v)
	}
}

// torques holds those of a stage and of its windows.
func (s *span) torques(st *worked.Stage, u unit.TorqueUnit) {
	for i := range st.Pulls {
		s.hold(worked.Number(st.Pulls[i].Torque, u))
		if w := st.Pulls[i].Figures.Torques; w.Set {
			s.hold(worked.Number(w.Low, u), worked.Number(w.High, u))
		}
	}
}

func (s *span) axis(name string, most int) Axis {
	a := Axis{Name: name}
	a.Low, a.High = s.padded()
	for _, v := range ticks(a.Low, a.High, most) {
		if !s.counts || v == math.Trunc(v) {
			a.Ticks = append(a.Ticks, v)
		}
	}
	return a
}

// padded leaves some air around what is held.
func (s *span) padded() (low, high float64) {
	if s.counts {
		return s.low - 0.5, s.high + 0.5
	}
	air := (s.high - s.low) * 0.08
	if air == 0 {
		air = math.Max(math.Abs(s.high)*0.05, 1)
	}
	return s.low - air, s.high + air
}

// ticks are at most so many round values between low and high.
func ticks(low, high float64, most int) []float64 {
	step := math.Pow(10, math.Floor(math.Log10((high-low)/float64(most))))
	for _, k := range []float64{1, 2, 5, 10} {
		if (high-low)/(step*k) <= float64(most) {
			step *= k
			break
		}
	}
	var all []float64
	for k := math.Ceil(low / step); k*step <= high; k++ {
		all = append(all, k*step+0) // and no negative zero
	}
	return all
}

// Tick writes the value of a tick.
func Tick(v float64) string {
	return strconv.FormatFloat(math.Round(v*1000)/1000, 'f', -1, 64)
}
