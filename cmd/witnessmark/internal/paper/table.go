package paper

// column of a table; widths are shares of the width of the page.
type column struct {
	head  string
	share float64
	right bool
}

// weight is how strongly a row is written.
type weight int

const (
	plain  weight = iota
	strong        // needs a look
)

// table writes rows under a head that is repeated on every page. A row is never torn, unless it is longer than a page.
type table struct {
	*page
	columns []column
	widths  []float64
	size    float64
	begun   bool
}

const cellGap, cellPad = 3.0, 0.8

func (p *page) table(size float64, columns ...column) *table {
	all := 0.0
	for _, c := range columns {
		all += c.share
	}
	t := &table{page: p, columns: columns, size: size}
	for _, c := range columns {
		t.widths = append(t.widths, (p.width()-cellGap*float64(len(columns)-1))*c.share/all)
	}
	return t
}

func (t *table) header() {
	t.face(regular, t.size, faint)
	cells := make([]string, len(t.columns))
	for i, c := range t.columns {
		cells[i] = c.head
	}
	t.write(t.broken(cells), 0, t.tallest(t.broken(cells)))
	t.pen(ink, 0.3)
	t.pdf.Line(t.left(), t.y, t.left()+t.width(), t.y)
	t.begun = true
}

func (t *table) row(w weight, cells ...string) {
	t.style(w)
	broken := t.broken(cells)
	const most = 40 // lines of a row that stay together
	for from := 0; from < t.tallest(broken); from += most {
		to := min(from+most, t.tallest(broken))
		high := float64(to-from)*t.line() + 2*cellPad
		if !t.begun || t.y+high > t.bottom() {
			t.room(high + 3*t.line())
			t.header()
			t.style(w)
		}
		t.write(broken, from, to)
		t.rule(t.left(), t.y, t.width(), hair)
	}
}

func (t *table) style(w weight) {
	if w == strong {
		t.face(bold, t.size, ink)
		return
	}
	t.face(regular, t.size, ink)
}

func (t *table) broken(cells []string) [][]string {
	out := make([][]string, len(cells))
	for i, c := range cells {
		out[i] = t.lines(c, t.widths[i])
	}
	return out
}

func (t *table) tallest(cells [][]string) int {
	n := 0
	for _, c := range cells {
		n = max(n, len(c))
	}
	return n
}

// write puts the lines from … to of every cell on the page and moves below them.
func (t *table) write(cells [][]string, from, to int) {
	x := t.left()
	for i, lines := range cells {
		for k := from; k < min(to, len(lines)); k++ {
			y := t.y + cellPad + float64(k-from)*t.line()
			if t.columns[i].right {
				t.atRight(x+t.widths[i], y, lines[k])
			} else {
				t.at(x, y, lines[k])
			}
		}
		x += t.widths[i] + cellGap
	}
	t.y += float64(to-from)*t.line() + 2*cellPad
}
