package paper

import (
	"codeberg.org/go-pdf/fpdf"

	"witnessmark/cmd/witnessmark/internal/drawing"
)

// Heads are drawn with a radius, in millimetres, between these.
const (
	smallestHead = 2.0
	largestHead  = 3.6
	titleHigh    = 5.0
)

// drawings puts the pictures of the stages on the page, side by side where they stay readable. All are of one joint and
// so of one size.
func (d *document) drawings(titles []string, pictures []drawing.Picture) {
	if len(pictures) == 0 {
		return
	}
	across, scale := d.arrangement(pictures[0], len(pictures))
	if n := len(pictures[0].Layout().Heads); scale == 0 || !pictures[0].Layout().ToScale {
		for i := range pictures {
			pictures[i] = pictures[i].InRows(inRow(n))
		}
		across, scale = d.arrangement(pictures[0], len(pictures))
		scale = max(scale, d.fit(pictures[0].Layout(), 1))
		d.face(regular, smallSize, faint)
		d.paragraph("The fasteners stand in rows as the procedure lists them: it gives no places, or they lie too close together for this page.")
	}
	cell := d.width() / float64(across)
	for i := 0; i < len(pictures); i += across {
		d.room(pictures[i].Layout().Height*scale + titleHigh)
		for k := i; k < min(i+across, len(pictures)); k++ {
			l := pictures[k].Layout()
			x := d.left() + float64(k-i)*cell
			d.face(bold, 8.5, ink)
			d.at(x, d.y, titles[k])
			d.layout(l, x+(cell-l.Width*scale)/2, d.y+titleHigh-1, scale)
		}
		d.y += pictures[i].Layout().Height*scale + titleHigh
	}
}

// inRow is how many of so many fasteners stand in a row.
func inRow(n int) int {
	if n > 60 {
		return 16
	}
	return 10
}

// arrangement is how many pictures stand side by side, and millimetres for a unit of the layout; 0 where heads would be
// too small to be read.
func (d *document) arrangement(p drawing.Picture, n int) (across int, scale float64) {
	l := p.Layout()
	if half := d.fit(l, 2); n > 1 && half*l.Radius >= smallestHead*1.2 {
		return 2, half
	}
	if whole := d.fit(l, 1); whole*l.Radius >= smallestHead {
		return 1, whole
	}
	return 1, 0
}

func (d *document) fit(l drawing.Layout, across float64) float64 {
	return min(d.width()/across/l.Width, (d.bottom()-topMargin-25)/l.Height, largestHead/l.Radius)
}

// layout draws the heads of a layout with its corner at x, y.
func (d *document) layout(l drawing.Layout, x, y, scale float64) {
	on := func(p drawing.Point) fpdf.PointType { return fpdf.PointType{X: x + p.X*scale, Y: y + p.Y*scale} }
	d.pen(hair, 0.25)
	for i := 1; i < len(l.Way); i++ {
		a, b := on(l.Way[i-1]), on(l.Way[i])
		d.pdf.Line(a.X, a.Y, b.X, b.Y)
	}
	for _, h := range l.Heads {
		corners := h.Shape.Corners(h.Point, l.Radius)
		outline := make([]fpdf.PointType, len(corners))
		for i, c := range corners {
			outline[i] = on(c)
		}
		d.head(h, on(h.Point), outline, l.Radius*scale)
	}
}

// head draws one head of radius r at a place: its outline, the turn in it, id and note below.
func (d *document) head(h drawing.Head, at fpdf.PointType, outline []fpdf.PointType, r float64) {
	inside := d.outline(h.Shape, outline)
	points := min(8.5, r*2.9)
	d.face(bold, points, inside)
	d.centred(at.X, at.Y-d.line()/2, h.Turn)
	small := max(3.6, min(6.5, r*1.75))
	d.face(regular, small, faint)
	below := at.Y + r + 0.2
	if h.Shape == drawing.Diamond { // its tip reaches farther down
		below = at.Y + r*1.15
	}
	d.label(at.X, below, "["+h.ID+"]")
	if h.Note != "" {
		d.face(bold, small, ink)
		d.label(at.X, below+d.line()*0.85, h.Note)
	}
}

// label writes a line on white, so that it stands clear of what runs below it.
func (d *document) label(x, y float64, text string) {
	wide := d.measure(text)
	d.fill(colour{255, 255, 255})
	d.pdf.Rect(x-wide/2, y+d.line()*0.12, wide, d.line()*0.76, "F")
	d.centred(x, y, text)
}

// outline draws the shape and gives the colour of what is written in it.
func (d *document) outline(s drawing.Shape, points []fpdf.PointType) colour {
	d.pen(ink, 0.3)
	d.fill(wash)
	style, inside := "DF", ink
	switch s {
	case drawing.Diamond:
		d.fill(ink)
		inside = colour{255, 255, 255}
	case drawing.Ring:
		d.fill(colour{255, 255, 255})
		d.pdf.SetDashPattern([]float64{0.9, 0.6}, 0)
	case drawing.Square:
		d.fill(colour{255, 255, 255})
		d.pen(alarm, 0.7)
		inside = alarm
	case drawing.Ghost:
		d.pen(hair, 0.2)
		style = "D"
	}
	d.pdf.Polygon(points, style)
	d.pdf.SetDashPattern(nil, 0)
	return inside
}

// legend says what the shapes mean.
func (d *document) legend() {
	const r = 1.7
	d.room(6)
	x := d.left() + r
	for _, e := range []struct {
		shape drawing.Shape
		text  string
	}{{drawing.Hexagon, "done in its turn, with its number"}, {drawing.Diamond, "done out of turn"}, {drawing.Square, "failed"},
		{drawing.Ring, "open"}, {drawing.Ghost, "not in this stage"}} {
		corners := e.shape.Corners(drawing.Point{X: x, Y: d.y + 2}, r)
		outline := make([]fpdf.PointType, len(corners))
		for i, c := range corners {
			outline[i] = fpdf.PointType(c)
		}
		d.outline(e.shape, outline)
		d.face(regular, smallSize, faint)
		d.at(x+r+1.2, d.y+0.4, e.text)
		x += 2*r + 6 + d.measure(e.text)
	}
	d.y += 6
}
