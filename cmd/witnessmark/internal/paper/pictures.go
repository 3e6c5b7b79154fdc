package paper

import (
	"slices"

	"witnessmark/audit/procedure"
)

const plotHigh = 50.0

// pictures draws the torque of every pull of a stage in the order of pulling, and over its angle.
func (d *document) pictures(s *stage) {
	if len(s.pulls) == 0 {
		return
	}
	named := "torque, " + string(d.unit)
	if slices.ContainsFunc(s.pulls, func(p pull) bool { return p.mark.Applied != 0 }) {
		named = "torque at the fastener, " + string(d.unit)
	}
	d.y += 3
	d.room(plotHigh + 5)
	half := (d.width() - 6) / 2
	d.byOrder(s, d.left(), half, named)
	d.byAngle(s, d.left()+half+6, half, named)
	d.y += plotHigh
	d.face(regular, 6.5, faint)
	d.at(d.left(), d.y, "Stage "+s.plan.ID+"  ·  dot: good  ·  ring: good, hit again  ·  triangle: not good  ·  yellow: the window  ·  broken line: its limit")
	d.y += 4
}

// byOrder is the torque by the order of pulling, each pull before its own window.
func (d *document) byOrder(s *stage, x, wide float64, named string) {
	across, up := span{counts: true}, span{}
	across.hold(1, float64(len(s.pulls)))
	for i := range s.pulls {
		p := &s.pulls[i]
		up.hold(number(p.torque, d.unit))
		if w := p.figures.Torques; w.Set {
			up.hold(number(w.Low, d.unit), number(w.High, d.unit))
		}
	}
	f := d.newPlot(x, d.y, wide, plotHigh, across, up, "pull", named)
	for from := 0; from < len(s.pulls); {
		w, to := s.pulls[from].figures.Torques, from
		for to < len(s.pulls) && s.pulls[to].figures.Torques == w {
			to++
		}
		if w.Set {
			left, right, low, high := float64(from)+0.5, float64(to)+0.5, number(w.Low, d.unit), number(w.High, d.unit)
			f.window(left, right, low, high)
			f.limit(left, right, low)
			f.limit(left, right, high)
		}
		from = to
	}
	for i := range s.pulls {
		f.point(float64(i+1), number(s.pulls[i].torque, d.unit), &s.pulls[i])
	}
}

// byAngle is the torque over the angle, before the windows of the stage.
func (d *document) byAngle(s *stage, x, wide float64, named string) {
	across, up, sent := span{}, span{}, 0
	for i := range s.pulls {
		p := &s.pulls[i]
		up.hold(number(p.torque, d.unit))
		if p.angle != nil {
			sent++
			across.hold(degrees(*p.angle))
		}
		if w := p.figures.Angles; w.Set {
			across.hold(degrees(w.Low), degrees(w.High))
		}
		if w := p.figures.Torques; w.Set {
			up.hold(number(w.Low, d.unit), number(w.High, d.unit))
		}
	}
	if sent == 0 {
		d.face(regular, bodySize, faint)
		d.at(x+11, d.y+plotHigh/2, "No angles to draw: the wrench sent none.")
		return
	}
	f := d.newPlot(x, d.y, wide, plotHigh, across, up, "angle, °", named)
	d.windows(f, s)
	for i := range s.pulls {
		if p := &s.pulls[i]; p.angle != nil {
			f.point(degrees(*p.angle), number(p.torque, d.unit), p)
		}
	}
}

// windows draws the window of the stage, and that of every fastener that has one of its own.
func (d *document) windows(f *plot, s *stage) {
	drawn := map[procedure.Figures]bool{}
	for i := range s.pulls {
		w := s.pulls[i].figures
		if drawn[w] {
			continue
		}
		drawn[w] = true
		left, right, low, high := f.left, f.right, f.low, f.top
		if w.Angles.Set {
			left, right = degrees(w.Angles.Low), degrees(w.Angles.High)
		}
		if w.Torques.Set {
			low, high = number(w.Torques.Low, d.unit), number(w.Torques.High, d.unit)
		}
		if w.Angles.Set || w.Torques.Set {
			f.window(left, right, low, high)
		}
	}
}
