package suggest

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"witnessmark/device/unit"
)

// columned is fields that stand in the same columns of every frame; all frames have the same length.
type columned struct{ bodies []string }

// widestNumber bounds the columns that a number takes.
const widestNumber = 12

func columnedTables(samples []sample, bodies []string, least int) (tables []table) {
	key := func(b string) string { return fmt.Sprint(len(b)) }
	for _, group := range grouped(bodies, key, least) {
		some := pickAll(bodies, group)
		tables = append(tables, table{layout: &columned{some}, samples: pickAll(samples, group), bodies: some})
	}
	return tables
}

func (c *columned) form() string { return "columns" }

func (c *columned) extent(_ int, f column) (from, to int) { return f.from, f.to }

func (c *columned) column(from, to int) column {
	f := column{from: from, to: to, place: fmt.Sprintf("at: %d..%d", from+1, to)}
	f.called = fmt.Sprintf("columns %d to %d", from+1, to)
	if to == from+1 {
		f.place, f.called = fmt.Sprintf("at: %d", to), fmt.Sprintf("column %d", to)
	}
	for _, b := range c.bodies {
		f.cells = append(f.cells, strings.Trim(b[from:to], " "))
	}
	return f
}

// columns are all windows that hold a number in every frame. The wider one is the better: what stands before a number
// that could be longer is room for it.
func (c *columned) columns() (found []column) {
	for from := range len(c.bodies[0]) {
		for to := from + 1; to <= min(from+widestNumber, len(c.bodies[0])); to++ {
			if c.numbers(from, to) {
				f := c.column(from, to)
				f.cost = widestNumber - (to - from)
				found = append(found, f)
			}
		}
	}
	return found
}

// numbers says whether a window holds a number that ends with it; in some frames there may be none.
func (c *columned) numbers(from, to int) bool {
	missing := 0
	for _, b := range c.bodies {
		text := strings.Trim(b[from:to], " ")
		_, ok := numberOf(text)
		switch {
		case ok && b[to-1] != ' ':
		case text == "" || strings.Trim(text, "-") == "":
			missing++
		default:
			return false
		}
	}
	return missing*3 <= len(c.bodies)
}

// padded says whether the column has blanks before what stands in it.
func (c *columned) padded(f column) bool {
	return !c.all(func(b string) bool { return b[f.from] != ' ' })
}

// clocks are the ways in which a date or a time of day is written at a fixed width.
var clocks = []*regexp.Regexp{
	regexp.MustCompile(`^[0-9]{4}[-./][0-9]{2}[-./][0-9]{2}[T ]?[0-9]{2}:[0-9]{2}(:[0-9]{2})?Z?$`),
	regexp.MustCompile(`^[0-9]{2}[-./][0-9]{2}[-./][0-9]{2,4} ?[0-9]{2}:[0-9]{2}(:[0-9]{2})?$`),
	regexp.MustCompile(`^(19|20)[0-9]{2}[-./]?(0[1-9]|1[0-2])[-./]?(0[1-9]|[12][0-9]|3[01])$`),
	regexp.MustCompile(`^[0-9]{2}[-./][0-9]{2}[-./]([0-9]{2}|(19|20)[0-9]{2})$`),
	regexp.MustCompile(`^([01][0-9]|2[0-3]):[0-5][0-9](:[0-5][0-9](\.[0-9]+)?)?$`),
	regexp.MustCompile(`^20[0-9]{2}(0[1-9]|1[0-2])(0[1-9]|[12][0-9]|3[01])T?([01][0-9]|2[0-3])[0-5][0-9][0-5][0-9]Z?$`),
}

func isClock(text string) bool {
	for _, form := range clocks {
		if form.MatchString(text) {
			return true
		}
	}
	return false
}

// clock finds the widest free window that holds a date or a time in every frame.
func (c *columned) clock(taken []column) (column, bool) {
	for width := 20; width >= 5; width-- {
		for from := 0; from+width <= len(c.bodies[0]); from++ {
			f := column{from: from, to: from + width}
			if f.overlapsAny(taken) || !c.all(func(b string) bool { return isClock(b[from : from+width]) }) {
				continue
			}
			return c.column(from, from+width), true
		}
	}
	return column{}, false
}

func (c *columned) all(test func(body string) bool) bool {
	for _, b := range c.bodies {
		if !test(b) {
			return false
		}
	}
	return true
}

// rest cuts what is left where the sort of character changes and where all frames have a blank.
func (c *columned) rest(taken []column) (free []column) {
	if clock, ok := c.clock(taken); ok {
		free = append(free, clock)
		taken = append(append([]column{}, taken...), clock)
	}
	width := len(c.bodies[0])
	for from := 0; from < width; from++ {
		kind := c.kind(from)
		if kind == "" || (column{from: from, to: from + 1}).overlapsAny(taken) {
			continue
		}
		to := from + 1
		for to < width && c.kind(to) == kind && !(column{from: to, to: to + 1}).overlapsAny(taken) {
			to++
		}
		free = append(free, c.letters(c.column(from, to))...)
		from = to - 1
	}
	if last := (column{from: width - 1, to: width}); !last.overlapsAny(taken) && !last.overlapsAny(free) {
		free = append(free, c.column(width-1, width)) // a profile must reach up to the end of the line
	}
	return free
}

// letters parts a run of letters that is no word into one column for each: codes of one letter often stand side by side.
func (c *columned) letters(f column) (parts []column) {
	texts := f.distinct()
	if c.kind(f.from) != "letters" || len(texts) < 2 || f.to == f.from+1 || !slices.ContainsFunc(texts, func(t string) bool { return !isWord(t) }) {
		return []column{f}
	}
	for at := f.from; at < f.to; at++ {
		parts = append(parts, c.column(at, at+1))
	}
	return parts
}

// isWord says whether a text means something by itself.
func isWord(text string) bool {
	_, err := unit.ParseTorqueUnit(text)
	_, judged := judgements[strings.ToUpper(text)]
	return err == nil || judged || tellsDirection(text)
}

// kind is the sort of character in a column: letters, digits, or a mixture; empty: blanks and other marks.
func (c *columned) kind(at int) (kind string) {
	for _, b := range c.bodies {
		now := ""
		switch ch := b[at]; {
		case ch >= '0' && ch <= '9':
			now = "digits"
		case alphanumeric(ch):
			now = "letters"
		}
		switch {
		case now == "" || kind == now:
		case kind == "":
			kind = now
		default:
			kind = "both"
		}
	}
	return kind
}

func (c *columned) write(fields []field) []string {
	return append([]string{"fields:", "  columns: true"}, list(fields)...)
}
