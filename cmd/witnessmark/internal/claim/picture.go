package claim

import (
	"fmt"
	"html"
	"slices"
	"strconv"
	"strings"

	"witnessmark/audit/standing"
)

// bins is how many intervals a picture has, about.
const bins = 16

// Picture is how often what was read, in intervals of equal width, and in which of them the reading lies.
type Picture struct {
	From  string `json:"from"` // lower end of the first interval, in Unit
	Width string `json:"width"`
	Unit  string `json:"unit"`
	// Counts are the readings of each interval, its lower end included; Under and Over those far outside.
	Counts []int    `json:"counts"`
	Under  int      `json:"under"`
	Over   int      `json:"over"`
	Here   int      `json:"here"` // interval of the reading
	ends   []string // lower ends of the intervals, and the upper one of the last
}

func draw(b standing.Bins, own, one int64, unit string) Picture {
	p := Picture{From: decimal(b.From, one), Width: decimal(b.Width, one), Unit: unit, Counts: b.Counts, Under: b.Under, Over: b.Over, Here: b.At(own)}
	for i := range len(b.Counts) + 1 {
		p.ends = append(p.ends, decimal(b.From+int64(i)*b.Width, one))
	}
	return p
}

func decimal(v, one int64) string {
	return strconv.FormatFloat(float64(v)/float64(one), 'f', -1, 64)
}

// barWidth is the longest bar of a picture on a terminal, in characters.
const barWidth = 44

// Text draws a line an interval; the reading's own is pointed at.
func (p Picture) Text(indent string) string {
	most, wide := max(slices.Max(append(p.Counts, 1)), 1), 0
	for _, e := range p.ends {
		wide = max(wide, len(e))
	}
	var b strings.Builder
	for i, n := range p.Counts {
		mark, bar := " ", strings.Repeat("#", (n*barWidth+most-1)/most)
		if i == p.Here {
			mark = ">"
		}
		b.WriteString(strings.TrimRight(fmt.Sprintf("%s%s %*s %s |%s %d", indent, mark, wide, p.ends[i], p.Unit, bar, n), " ") + "\n")
	}
	if p.Under+p.Over > 0 {
		fmt.Fprintf(&b, "%s  far outside: %d below, %d above\n", indent, p.Under, p.Over)
	}
	return b.String()
}

// Measures of the SVG, in its units.
const (
	panelWidth, panelHeight = 640, 190
	plotLeft, plotTop       = 20, 54
	plotWidth, plotHeight   = 600, 100
)

const looks = `<style>text{font-family:system-ui,sans-serif;font-size:13px;fill:#20262e}.title{font-size:16px;font-weight:600}.end{text-anchor:end}` +
	`.all{fill:#b9c4d0}.here{fill:#20262e}.axis{stroke:#7b8794}</style>` + "\n"

// Inline draws one standing as a part of a page, whose style sheet gives it its looks: class among.
func (s Standing) Inline() string {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="among" viewBox="0 0 %d %d" role="img" aria-label="%s">`+"\n", panelWidth, panelHeight,
		html.EscapeString(fmt.Sprintf("Stage %s, %s %s %s", s.Stage, s.What, s.Value, s.Sentence())))
	s.panel(&b)
	b.WriteString("</svg>\n")
	return b.String()
}

// SVG draws all standings of a story below one another; the bar in which the reading lies is dark. It holds no script and
// refers to nothing outside itself.
func (s *Story) SVG() string {
	var b strings.Builder
	title := fmt.Sprintf("Joint %s, fastener %s among all builds of the family", s.Joint, s.Fastener)
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" role="img" aria-label="%s">`+"\n", panelWidth, 40+panelHeight*len(s.Standings), html.EscapeString(title))
	b.WriteString(looks)
	fmt.Fprintf(&b, `<rect width="100%%" height="100%%" fill="#fff"/><text class="title" x="%d" y="26">%s</text>`+"\n", plotLeft, html.EscapeString(title))
	for i, st := range s.Standings {
		fmt.Fprintf(&b, `<g transform="translate(0 %d)">`+"\n", 40+i*panelHeight)
		st.panel(&b)
		b.WriteString("</g>\n")
	}
	b.WriteString("</svg>\n")
	return b.String()
}

func (s Standing) panel(b *strings.Builder) {
	p := s.Picture
	fmt.Fprintf(b, `<text x="%d" y="22">%s</text><text x="%d" y="40">%s</text>`+"\n", plotLeft,
		html.EscapeString(fmt.Sprintf("Stage %s, %s %s (build %d, reading %d)", s.Stage, s.What, s.Value, s.Build, s.Reading)), plotLeft, html.EscapeString(s.Sentence()))
	if s.TooFew {
		return
	}
	most, step := max(slices.Max(append(p.Counts, 1)), 1), float64(plotWidth)/float64(max(len(p.Counts), 1))
	for i, n := range p.Counts {
		class, h := "all", float64(n)*plotHeight/float64(most)
		if i == p.Here {
			class, h = "here", max(h, 2)
		}
		fmt.Fprintf(b, `<rect class="%s" x="%.1f" y="%.1f" width="%.1f" height="%.1f"/>`+"\n", class, plotLeft+float64(i)*step+1, plotTop+plotHeight-h, step-2, h)
	}
	bottom := plotTop + plotHeight
	fmt.Fprintf(b, `<line class="axis" x1="%d" y1="%d" x2="%d" y2="%d"/>`+"\n", plotLeft, bottom, plotLeft+plotWidth, bottom)
	fmt.Fprintf(b, `<text x="%d" y="%d">%s %s</text><text class="end" x="%d" y="%d">%s %s</text>`+"\n", plotLeft, bottom+18,
		p.ends[0], p.Unit, plotLeft+plotWidth, bottom+18, p.ends[len(p.ends)-1], p.Unit)
}

// Sentence says the rank in words.
func (s Standing) Sentence() string {
	if s.TooFew {
		return fmt.Sprintf("too few readings of the same step in the family to say where it lies: %d", s.Of)
	}
	of := fmt.Sprintf("%d readings", s.Of)
	if s.Sampled {
		of += fmt.Sprintf(", an even sample of %d", s.All)
	}
	return fmt.Sprintf("at percentile %d.%d of %s of the same step in all builds of the family", s.Rank/10_000, s.Rank%10_000/1000, of)
}
