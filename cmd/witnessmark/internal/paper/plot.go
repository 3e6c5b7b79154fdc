package paper

import (
	"math"
	"strconv"
)

// plot is a picture with two axes.
type plot struct {
	*page
	x, y, wide, high      float64 // of the frame, mm
	left, right, low, top float64 // the values at its sides
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

// padded leaves some air around what is held.
func (s span) padded() (low, high float64) {
	if s.counts {
		return s.low - 0.5, s.high + 0.5
	}
	air := (s.high - s.low) * 0.08
	if air == 0 {
		air = math.Max(math.Abs(s.high)*0.05, 1)
	}
	return s.low - air, s.high + air
}

// newPlot draws the frame with its ticks and what stands at the axes.
func (p *page) newPlot(x, y, wide, high float64, across, up span, nameX, nameY string) *plot {
	const forY, forX, forName = 11.0, 8.0, 4.5
	f := &plot{page: p, x: x + forY, y: y + forName, wide: wide - forY - 2, high: high - forX - forName}
	f.left, f.right = across.padded()
	f.low, f.top = up.padded()
	p.face(regular, 6.5, faint)
	p.at(x, y, nameY)
	p.atRight(f.x+f.wide, y+high-3.4, nameX)
	for _, v := range ticks(f.low, f.top, 5) {
		at := f.up(v)
		p.rule(f.x, at, f.wide, wash)
		p.atRight(f.x-1.2, at-p.line()/2, shortest(v))
	}
	for _, v := range ticks(f.left, f.right, 6) {
		if across.counts && v != math.Trunc(v) {
			continue
		}
		at := f.across(v)
		p.pen(hair, 0.2)
		p.pdf.Line(at, f.y+f.high, at, f.y+f.high+1)
		p.centred(at, f.y+f.high+1, shortest(v))
	}
	p.pen(faint, 0.25)
	p.pdf.Line(f.x, f.y, f.x, f.y+f.high)
	p.pdf.Line(f.x, f.y+f.high, f.x+f.wide, f.y+f.high)
	return f
}

func (f *plot) across(v float64) float64 { return f.x + (v-f.left)/(f.right-f.left)*f.wide }
func (f *plot) up(v float64) float64     { return f.y + f.high - (v-f.low)/(f.top-f.low)*f.high }

// window fills the part of the frame between values; it is cut at the frame.
func (f *plot) window(left, right, low, high float64) {
	left, right = max(left, f.left), min(right, f.right)
	low, high = max(low, f.low), min(high, f.top)
	f.fill(colour{247, 240, 218})
	f.pdf.Rect(f.across(left), f.up(high), f.across(right)-f.across(left), f.up(low)-f.up(high), "F")
}

// limit is a broken line at a value.
func (f *plot) limit(left, right, v float64) {
	f.pen(faint, 0.25)
	f.pdf.SetDashPattern([]float64{1, 0.8}, 0)
	f.pdf.Line(f.across(max(left, f.left)), f.up(v), f.across(min(right, f.right)), f.up(v))
	f.pdf.SetDashPattern(nil, 0)
}

// point draws a pull: a dot where it is good, a ring where it hit again what was done, a triangle with the fastener's id
// where it is not good.
func (f *plot) point(x, y float64, p *pull) {
	px, py := f.across(x), f.up(y)
	const r = 0.75
	switch {
	case !p.good():
		f.fill(alarm)
		f.triangle(px, py, r*1.5)
		f.face(bold, 6, ink)
		f.at(px+1.6, py-1.4, "["+p.fastener+"]")
	case p.again():
		f.pen(ink, 0.3)
		f.pdf.Circle(px, py, r, "D")
	default:
		f.fill(ink)
		f.pdf.Circle(px, py, r, "F")
	}
}

func (f *plot) triangle(x, y, r float64) {
	f.pdf.MoveTo(x, y-r)
	f.pdf.LineTo(x+r*0.87, y+r*0.5)
	f.pdf.LineTo(x-r*0.87, y+r*0.5)
	f.pdf.ClosePath()
	f.pdf.DrawPath("F")
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

func shortest(v float64) string {
	return strconv.FormatFloat(math.Round(v*1000)/1000, 'f', -1, 64)
}
