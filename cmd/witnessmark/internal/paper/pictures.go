package paper

import (
	"witnessmark/cmd/witnessmark/internal/chart"
	"witnessmark/cmd/witnessmark/internal/worked"
)

const plotHigh = 50.0

// pictures draws the torque of every pull of a stage in the order of pulling, and over its angle.
func (d *document) pictures(s *worked.Stage) {
	if len(s.Pulls) == 0 {
		return
	}
	d.y += 3
	d.room(plotHigh + 5)
	half := (d.width() - 6) / 2
	d.plot(chart.ByOrder(s, d.unit), d.left(), d.y, half, plotHigh)
	if c, ok := chart.ByAngle(s, d.unit); ok {
		d.plot(c, d.left()+half+6, d.y, half, plotHigh)
	} else {
		d.face(regular, bodySize, faint)
		d.at(d.left()+half+6+11, d.y+plotHigh/2, "No angles to draw: the wrench sent none.")
	}
	d.y += plotHigh
	d.face(regular, 6.5, faint)
	d.at(d.left(), d.y, "Stage "+s.Plan.ID+"  ·  "+chart.Legend)
	d.y += 4
}
