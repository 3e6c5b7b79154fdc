package drawing

import (
	"fmt"
	"html"
	"math"
	"strings"
)

// The looks of the drawing, in units of the picture: a head of 2·head across corners, whatever the joint measures.
const (
	head   = 22.0
	margin = 40.0
	least  = 3.2 * head // distance of the two nearest fasteners
)

// SVG draws the joint: a hexagon a fastener with the number of its turn in it, its id in brackets below, and a fine line along the way
// from the first to the last. It holds no script and refers to nothing outside itself.
func (p Picture) SVG() string {
	left, right, low, high := p.extent()
	scale := p.scale()
	width, height := (right-left)*scale+2*(head+margin), (high-low)*scale+2*(head+margin)
	at := func(s spot) (x, y float64) {
		return (s.x-left)*scale + head + margin, (high-s.y)*scale + head + margin
	}
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %.0f %.0f" role="img" aria-label="%s">`+"\n", width, height,
		html.EscapeString(p.title))
	b.WriteString(`<style>text{font-family:system-ui,sans-serif;text-anchor:middle;fill:#20262e}.turn{font-size:20px;font-weight:600}` +
		`.id{font-size:13px;fill:#4a5563;paint-order:stroke;stroke:#fff;stroke-width:5px}.head{fill:#f4f6f8;stroke:#20262e;stroke-width:2}.left{stroke-dasharray:4 4;fill:none}` +
		`.way{fill:none;stroke:#7b8794;stroke-width:1.5;stroke-dasharray:1 4;stroke-linecap:round}</style>` + "\n")
	b.WriteString(`<polyline class="way" points="`)
	for _, s := range p.order() {
		x, y := at(s)
		fmt.Fprintf(&b, "%.1f,%.1f ", x, y)
	}
	b.WriteString("\"/>\n")
	for _, s := range p.spots {
		x, y := at(s)
		s.draw(&b, x, y)
	}
	b.WriteString("</svg>\n")
	return b.String()
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

func (s spot) draw(b *strings.Builder, x, y float64) {
	class, turn := "head", fmt.Sprint(s.turn)
	if s.turn == 0 {
		class, turn = "head left", ""
	}
	fmt.Fprintf(b, `<polygon class="%s" points="`, class)
	for k := range 6 {
		a := float64(k) * math.Pi / 3
		fmt.Fprintf(b, "%.1f,%.1f ", x+head*math.Cos(a), y+head*math.Sin(a))
	}
	fmt.Fprintf(b, `"/><text class="turn" x="%.1f" y="%.1f">%s</text><text class="id" x="%.1f" y="%.1f">[%s]</text>`+"\n",
		x, y+7, turn, x, y+head+14, html.EscapeString(s.id))
}
