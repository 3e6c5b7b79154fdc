package paper

import "witnessmark/cmd/witnessmark/internal/chart"

// plot is a chart on a page.
type plot struct {
	*page
	chart.Chart
	x, y, wide, high float64 // of the frame, mm
}

// plot draws a chart into a place, its names and ticks included.
func (p *page) plot(c chart.Chart, x, y, wide, high float64) {
	const forY, forX, forName = 11.0, 8.0, 4.5
	f := &plot{page: p, Chart: c, x: x + forY, y: y + forName, wide: wide - forY - 2, high: high - forX - forName}
	p.face(regular, 6.5, faint)
	p.at(x, y, c.Up.Name)
	p.atRight(f.x+f.wide, y+high-3.4, c.Across.Name)
	f.frame()
	for _, w := range c.Windows {
		p.fill(colour{247, 240, 218})
		p.pdf.Rect(f.across(w.Left), f.up(w.High), f.across(w.Right)-f.across(w.Left), f.up(w.Low)-f.up(w.High), "F")
	}
	p.pen(faint, 0.25)
	p.pdf.SetDashPattern([]float64{1, 0.8}, 0)
	for _, l := range c.Limits {
		p.pdf.Line(f.across(l.Left), f.up(l.At), f.across(l.Right), f.up(l.At))
	}
	p.pdf.SetDashPattern(nil, 0)
	for _, pt := range c.Points {
		f.point(pt)
	}
}

// frame draws the axes with their ticks.
func (f *plot) frame() {
	for _, v := range f.Up.Ticks {
		at := f.up(v)
		f.rule(f.x, at, f.wide, wash)
		f.atRight(f.x-1.2, at-f.line()/2, chart.Tick(v))
	}
	for _, v := range f.Across.Ticks {
		at := f.across(v)
		f.pen(hair, 0.2)
		f.pdf.Line(at, f.y+f.high, at, f.y+f.high+1)
		f.centred(at, f.y+f.high+1, chart.Tick(v))
	}
	f.pen(faint, 0.25)
	f.pdf.Line(f.x, f.y, f.x, f.y+f.high)
	f.pdf.Line(f.x, f.y+f.high, f.x+f.wide, f.y+f.high)
}

func (f *plot) across(v float64) float64 {
	return f.x + (v-f.Across.Low)/(f.Across.High-f.Across.Low)*f.wide
}

func (f *plot) up(v float64) float64 {
	return f.y + f.high - (v-f.Up.Low)/(f.Up.High-f.Up.Low)*f.high
}

func (f *plot) point(p chart.Point) {
	px, py := f.across(p.X), f.up(p.Y)
	const r = 0.75
	switch p.Shape {
	case chart.Triangle:
		f.fill(alarm)
		f.triangle(px, py, r*1.5)
		f.face(bold, 6, ink)
		f.at(px+1.6, py-1.4, "["+p.Label+"]")
	case chart.Ring:
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
