package web

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"strings"

	"witnessmark/audit/bench"
)

// Sizes in the drawing's own units: a head is 2·head across, and the two nearest stand so far apart that both can be hit
// with a thumb.
const (
	head    = 24.0
	border  = 46.0
	nearest = 3.1 * head
)

// picture draws the fasteners to scale, seen as the technician stands before them. Shape tells the state, and the words
// in the label: open is a ring, done a filled head with a tick, failed a square with a cross, next a big ring with a
// pointer. Colours come from the style sheet.
func (w *words) picture(spots []bench.Spot) template.HTML {
	if len(spots) == 0 {
		return ""
	}
	at := lay(spots)
	width, height := 0.0, 0.0
	for _, xy := range at {
		width, height = max(width, xy[0]), max(height, xy[1])
	}
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="joint" viewBox="0 0 %.0f %.0f" role="group" aria-label="%s">`, width+border+head, height+border+head, html.EscapeString(w.say("picture.joint")))
	b.WriteString(`<polyline class="way" points="` + way(spots, at) + `"/>`)
	for i, s := range spots {
		w.spot(&b, s, at[i])
	}
	b.WriteString("</svg>")
	return template.HTML(b.String()) // made of numbers and escaped ids only
}

// lay gives every spot its place: to scale where all have coordinates, else in rows of eight.
func lay(spots []bench.Spot) [][2]float64 {
	at := make([][2]float64, len(spots))
	for i, s := range spots {
		if !s.Placed {
			for k := range spots {
				at[k] = [2]float64{float64(k%8) * 60, float64(k/8) * 60}
			}
			break
		}
		at[i] = [2]float64{float64(s.X), -float64(s.Y)}
	}
	scale := nearest / closest(at)
	left, top := math.Inf(1), math.Inf(1)
	for i := range at {
		at[i][0], at[i][1] = at[i][0]*scale, at[i][1]*scale
		left, top = min(left, at[i][0]), min(top, at[i][1])
	}
	for i := range at {
		at[i][0], at[i][1] = at[i][0]-left+border+head, at[i][1]-top+border+head
	}
	return at
}

// closest is the distance of the two that stand nearest to each other.
func closest(at [][2]float64) float64 {
	d := math.Inf(1)
	for i, a := range at {
		for _, b := range at[:i] {
			d = min(d, math.Hypot(a[0]-b[0], a[1]-b[1]))
		}
	}
	if math.IsInf(d, 1) || d == 0 {
		return nearest
	}
	return d
}

func way(spots []bench.Spot, at [][2]float64) string {
	points := make([]string, len(spots)+1)
	for i, s := range spots {
		points[s.Turn] = fmt.Sprintf("%.1f,%.1f ", at[i][0], at[i][1])
	}
	points[0] = "" // those that the stage leaves out
	return strings.Join(points, "")
}

func (w *words) spot(b *strings.Builder, s bench.Spot, at [2]float64) {
	state := string(s.State)
	if s.Turn == 0 {
		state = "not in this stage"
	}
	if s.Next {
		state = "next"
	}
	id := html.EscapeString(s.ID)
	fmt.Fprintf(b, `<g class="spot %s" transform="translate(%.1f %.1f)"><title>%s</title>`, class(state), at[0], at[1], html.EscapeString(w.say("picture.fastener", "Fastener", s.ID, "State", w.word(state))))
	switch state {
	case "next":
		fmt.Fprintf(b, `<circle class="halo" r="%.0f"/><circle class="rim" r="%.0f"/><path class="mark" d="M-9 -46 L9 -46 L0 -34 Z"/>`, head+9, head)
	case string(bench.Done):
		fmt.Fprintf(b, `<circle class="rim" r="%.0f"/><path class="mark" d="M10 -26 l6 7 l12 -14"/>`, head)
	case string(bench.Failed):
		fmt.Fprintf(b, `<rect class="rim" x="%.0f" y="%.0f" width="%.0f" height="%.0f"/><path class="mark" d="M12 -34 l14 14 m0 -14 l-14 14"/>`, -head, -head, 2*head, 2*head)
	default:
		fmt.Fprintf(b, `<circle class="rim" r="%.0f"/>`, head)
	}
	fmt.Fprintf(b, `<text>%s</text></g>`, id)
}

func class(state string) string {
	if strings.HasPrefix(state, "not") {
		return "out"
	}
	return state
}
