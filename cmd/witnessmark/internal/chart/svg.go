package chart

import (
	"fmt"
	"html"
	"strings"
)

// Measures of the picture, in its own units.
const (
	wide, high          = 480.0, 300.0
	left, right         = 52.0, 14.0
	top, bottom         = 30.0, 48.0
	plotWide, plotHigh  = wide - left - right, high - top - bottom
	dot, pointer, label = 4.0, 7.0, 8.0
)

// SVG draws the chart as a part of a page, whose style sheet gives it its looks: class plot.
func (c Chart) SVG(title string) string {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="plot" viewBox="0 0 %.0f %.0f" role="img" aria-label="%s">`+"\n", wide, high, html.EscapeString(title))
	for _, w := range c.Windows {
		fmt.Fprintf(&b, `<rect class="window" x="%.1f" y="%.1f" width="%.1f" height="%.1f"/>`, c.across(w.Left), c.up(w.High), c.across(w.Right)-c.across(w.Left), c.up(w.Low)-c.up(w.High))
	}
	c.axes(&b)
	for _, l := range c.Limits {
		fmt.Fprintf(&b, `<path class="limit" d="M%.1f %.1fH%.1f"/>`, c.across(l.Left), c.up(l.At), c.across(l.Right))
	}
	for _, p := range c.Points {
		p.draw(&b, c.across(p.X), c.up(p.Y))
	}
	b.WriteString("\n</svg>\n")
	return b.String()
}

func (c Chart) axes(b *strings.Builder) {
	for _, v := range c.Up.Ticks {
		fmt.Fprintf(b, `<path class="grid" d="M%.0f %.1fh%.0f"/><text class="up" x="%.0f" y="%.1f">%s</text>`, left, c.up(v), plotWide, left-6, c.up(v)+5, Tick(v))
	}
	for _, v := range c.Across.Ticks {
		fmt.Fprintf(b, `<path class="axis" d="M%.1f %.0fv5"/><text class="across" x="%.1f" y="%.0f">%s</text>`, c.across(v), top+plotHigh, c.across(v), top+plotHigh+20, Tick(v))
	}
	fmt.Fprintf(b, `<path class="axis" d="M%.0f %.0fv%.0fh%.0f"/>`, left, top, plotHigh, plotWide)
	fmt.Fprintf(b, `<text x="4" y="16">%s</text><text class="up" x="%.0f" y="%.0f">%s</text>`+"\n", html.EscapeString(c.Up.Name), wide-right, high-6, html.EscapeString(c.Across.Name))
}

func (c Chart) across(v float64) float64 {
	return left + (v-c.Across.Low)/(c.Across.High-c.Across.Low)*plotWide
}

func (c Chart) up(v float64) float64 {
	return top + plotHigh - (v-c.Up.Low)/(c.Up.High-c.Up.Low)*plotHigh
}

func (p Point) draw(b *strings.Builder, x, y float64) {
	switch p.Shape {
	case Triangle:
		fmt.Fprintf(b, `<path class="bad" d="M%.1f %.1fl%.0f %.0fh-%.0fz"/><text class="label" x="%.1f" y="%.1f">[%s]</text>`,
			x, y-pointer, pointer, 1.6*pointer, 2*pointer, x+label, y-label/2, html.EscapeString(p.Label))
	case Ring:
		fmt.Fprintf(b, `<circle class="again" cx="%.1f" cy="%.1f" r="%.0f"/>`, x, y, dot)
	default:
		fmt.Fprintf(b, `<circle class="good" cx="%.1f" cy="%.1f" r="%.0f"/>`, x, y, dot)
	}
}
