package paper

import (
	"fmt"

	"codeberg.org/go-pdf/fpdf"
)

// Lengths on the page, in millimetres; letters are in points.
const (
	sideMargin   = 16.0
	topMargin    = 24.0
	bottomMargin = 20.0
	bodySize     = 9.0
	smallSize    = 7.5
	lineOf       = 0.3528 * 1.28 // mm of line for each point of letter
)

// colour is red, green and blue. Nothing is said by colour alone.
type colour [3]int

var (
	ink   = colour{28, 34, 42}
	faint = colour{104, 112, 122}
	hair  = colour{196, 201, 207}
	wash  = colour{240, 241, 238}
	paint = colour{222, 170, 28} // the stripe of a paint marker
	alarm = colour{160, 32, 24}
)

// page is the paper under the pen. y runs down from the top and is kept by the pen itself.
type page struct {
	pdf        *fpdf.Fpdf
	wide, high float64 // of the sheet
	y          float64
	head, foot string
	pages      int  // in all; 0: not known yet
	strange    bool // a letter was replaced by its number
}

func newPage(size Paper, head, foot string, pages int) (*page, error) {
	if size == "" {
		size = A4
	}
	p := &page{pdf: fpdf.New("P", "mm", string(size), ""), head: head, foot: foot, pages: pages}
	p.pdf.AddUTF8FontFromBytes("go", regular, faces[regular])
	p.pdf.AddUTF8FontFromBytes("go", bold, faces[bold])
	p.pdf.AddUTF8FontFromBytes(mono, regular, faces[mono])
	p.pdf.SetCatalogSort(true)
	p.pdf.SetAutoPageBreak(false, 0)
	p.pdf.SetCellMargin(0)
	p.wide, p.high = p.pdf.GetPageSize()
	if err := p.pdf.Error(); err != nil {
		return nil, fmt.Errorf("set up the page: %w", err)
	}
	return p, nil
}

func (p *page) left() float64   { return sideMargin }
func (p *page) width() float64  { return p.wide - 2*sideMargin }
func (p *page) bottom() float64 { return p.high - bottomMargin }

// turn begins a new page with its running head and foot.
func (p *page) turn() {
	p.pdf.AddPage()
	n := p.pdf.PageNo()
	p.stripe(p.left(), 11, 5)
	p.face(bold, smallSize, ink)
	p.at(p.left()+6, 11.6, "Build sheet")
	p.face(regular, smallSize, faint)
	p.atRight(p.left()+p.width(), 11.6, p.fitting(p.head, p.width()-40))
	p.rule(p.left(), 17.5, p.width(), hair)
	low := p.high - bottomMargin + 7
	p.rule(p.left(), low-2, p.width(), hair)
	p.at(p.left(), low, p.fitting(p.foot, p.width()-30))
	p.atRight(p.left()+p.width(), low, fmt.Sprintf("page %d of %d", n, max(p.pages, n)))
	p.y = topMargin
}

// room turns the page where less than so much is left.
func (p *page) room(mm float64) {
	if p.y+mm > p.bottom() {
		p.turn()
	}
}

// stripe is a paint stripe, leaning as one drawn across a bolt head.
func (p *page) stripe(x, y, size float64) {
	p.fill(paint)
	p.pdf.Polygon([]fpdf.PointType{{X: x + size*0.55, Y: y}, {X: x + size*0.85, Y: y}, {X: x + size*0.3, Y: y + size}, {X: x, Y: y + size}}, "F")
}

func (p *page) face(style string, size float64, c colour) {
	family := "go"
	if style == mono {
		family, style = mono, ""
	}
	p.pdf.SetFont(family, style, size)
	p.pdf.SetTextColor(c[0], c[1], c[2])
}

func (p *page) fill(c colour) { p.pdf.SetFillColor(c[0], c[1], c[2]) }

func (p *page) pen(c colour, mm float64) {
	p.pdf.SetDrawColor(c[0], c[1], c[2])
	p.pdf.SetLineWidth(mm)
}

func (p *page) rule(x, y, w float64, c colour) {
	p.pen(c, 0.2)
	p.pdf.Line(x, y, x+w, y)
}

// line is the height of a line of the letters in use.
func (p *page) line() float64 {
	points, _ := p.pdf.GetFontSize()
	return points * lineOf
}

// clean makes a text printable and remembers whether a letter was replaced.
func (p *page) clean(text string) string {
	text, strange := letters(text)
	p.strange = p.strange || strange
	return text
}

// at writes a line whose top is at y.
func (p *page) at(x, y float64, text string) {
	p.pdf.Text(x, y+p.line()*0.74, p.clean(text))
}

func (p *page) atRight(x, y float64, text string) { p.at(x-p.measure(text), y, text) }
func (p *page) centred(x, y float64, text string) { p.at(x-p.measure(text)/2, y, text) }

func (p *page) measure(text string) float64 {
	return p.pdf.GetStringWidth(p.clean(text))
}

// lines breaks a text to a width; a word that is too long is cut.
func (p *page) lines(text string, width float64) []string {
	text = p.clean(text)
	if text == "" {
		return []string{""}
	}
	return p.pdf.SplitText(text, width)
}

// fitting is as much of a text as fits in one line, with … where some is left out: for what stands in full elsewhere.
func (p *page) fitting(text string, width float64) string {
	text = p.clean(text)
	if p.pdf.GetStringWidth(text) <= width {
		return text
	}
	runes := []rune(text)
	for len(runes) > 0 && p.pdf.GetStringWidth(string(runes)+"…") > width {
		runes = runes[:len(runes)-1]
	}
	return string(runes) + "…"
}

// paragraph writes a text over the width and moves on.
func (p *page) paragraph(text string) { p.indented(0, text) }

func (p *page) indented(by float64, text string) {
	for _, l := range p.lines(text, p.width()-by) {
		p.room(p.line())
		p.at(p.left()+by, p.y, l)
		p.y += p.line()
	}
}

// heading begins a part of the sheet; it stays with what follows.
func (p *page) heading(text string) {
	if p.y > topMargin {
		p.y += 4
	}
	p.room(36)
	p.face(bold, 11, ink)
	p.paragraph(text)
	p.y += 1
	p.face(regular, bodySize, ink)
}
