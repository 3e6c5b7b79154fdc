package drawing

import (
	"fmt"
	"html"
	"strings"
)

const looks = `<style>text{font-family:system-ui,sans-serif;text-anchor:middle;fill:#20262e}.turn{font-size:20px;font-weight:600}` +
	`.id,.note{font-size:13px;fill:#4a5563;paint-order:stroke;stroke:#fff;stroke-width:5px}.note{font-weight:600;fill:#20262e}` +
	`.hexagon{fill:#f4f6f8;stroke:#20262e;stroke-width:2}.diamond{fill:#20262e;stroke:#20262e}.diamond+.turn{fill:#fff}` +
	`.ring{stroke:#20262e;stroke-width:2;stroke-dasharray:6 4;fill:#fff}.square{fill:#fff;stroke:#20262e;stroke-width:4}` +
	`.ghost{stroke:#7b8794;stroke-dasharray:4 4;fill:none}` +
	`.title{font-size:16px;font-weight:600;text-anchor:start}.way{fill:none;stroke:#7b8794;stroke-width:1.5;stroke-dasharray:1 4;stroke-linecap:round}</style>`

var classes = map[Shape]string{Hexagon: "hexagon", Diamond: "diamond", Ring: "ring", Square: "square", Ghost: "ghost"}

// SVG draws the joint: a head a fastener with the number of its turn in it, its id in brackets below, what is not as
// wanted below that, and a fine line along the way from the first to the last. It holds no script and refers to nothing
// outside itself.
func (p Picture) SVG() string {
	l := p.Layout()
	return document(l.Width, l.Height, l.Title, looks, l.draw)
}

// Inline is the same picture as a part of a page, whose style sheet gives it its looks: class drawn.
func (p Picture) Inline() string {
	l := p.Layout()
	return document(l.Width, l.Height, l.Title, "", l.draw)
}

// titleHigh is the room for the title above a picture that stands below another.
const titleHigh = 30.0

// Stacked draws pictures below each other, each under its title, as one SVG.
func Stacked(title string, all []Picture) string {
	wide, high := 0.0, 0.0
	for _, p := range all {
		l := p.Layout()
		wide, high = max(wide, l.Width), high+titleHigh+l.Height
	}
	return document(wide, high, title, looks, func(b *strings.Builder) {
		y := 0.0
		for _, p := range all {
			l := p.Layout()
			fmt.Fprintf(b, `<text class="title" x="10" y="%.0f">%s</text><g transform="translate(0 %.0f)">`+"\n", y+20, html.EscapeString(l.Title), y+titleHigh)
			l.draw(b)
			b.WriteString("</g>\n")
			y += titleHigh + l.Height
		}
	})
}

func document(wide, high float64, title, looks string, draw func(*strings.Builder)) string {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" class="drawn" viewBox="0 0 %.0f %.0f" role="img" aria-label="%s">`+"\n%s\n",
		wide, high, html.EscapeString(title), looks)
	draw(&b)
	b.WriteString("</svg>\n")
	return b.String()
}

func (l Layout) draw(b *strings.Builder) {
	fmt.Fprintf(b, "<polyline class=\"way\" points=\"%s\"/>\n", points(l.Way))
	for _, h := range l.Heads {
		h.draw(b, l.Radius)
	}
}

func points(all []Point) string {
	list := make([]string, len(all))
	for i, p := range all {
		list[i] = fmt.Sprintf("%.1f,%.1f", p.X, p.Y)
	}
	return strings.Join(list, " ")
}

func (h Head) draw(b *strings.Builder, radius float64) {
	fmt.Fprintf(b, `<polygon class="%s" points="%s"/>`, classes[h.Shape], points(h.Shape.Corners(h.Point, radius)))
	text := func(class string, down float64, text string) {
		fmt.Fprintf(b, `<text class="%s" x="%.1f" y="%.1f">%s</text>`, class, h.X, h.Y+down, html.EscapeString(text))
	}
	text("turn", 7, h.Turn)
	text("id", radius+14, "["+h.ID+"]")
	if h.Note != "" {
		text("note", radius+28, h.Note)
	}
	b.WriteString("\n")
}
