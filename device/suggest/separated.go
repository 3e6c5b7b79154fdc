package suggest

import (
	"fmt"
	"strings"
)

// separators are the characters that may stand between fields, the likely ones first.
var separators = []string{";", "\t", "|", ",", "\x1f", "\x1e", "\x1d", "\x1c", "/", ":", "#", "&", "!", "*", "=", " "}

// separated is fields with one character between them.
type separated struct {
	separator string
	lead      string
	bodies    []string // without the lead
	cells     []column
}

// separatedTables finds every separator that cuts at least so many frames into the same number of fields.
func separatedTables(samples []sample, bodies []string, least int) (tables []table) {
	for _, separator := range separators {
		key := func(b string) string { return separatedKey(b, separator) }
		for _, group := range grouped(bodies, key, least) {
			tables = append(tables, separatedTable(pickAll(samples, group), pickAll(bodies, group), separator))
		}
	}
	return tables
}

// separatedKey tells frames with another number of fields apart, and those whose first field is another word.
func separatedKey(body, separator string) string {
	n := strings.Count(body, separator)
	if n == 0 || separator == " " && strings.Contains(body, "  ") {
		return ""
	}
	first, _, _ := strings.Cut(body, separator)
	if strings.ContainsAny(first, "0123456789") {
		first = ""
	}
	return fmt.Sprint(n, " ", first)
}

func separatedTable(samples []sample, bodies []string, separator string) table {
	lead := leadOf(bodies)
	if strings.Contains(lead, separator) {
		lead = ""
	}
	s := &separated{separator: separator, lead: lead}
	for i, b := range bodies {
		b = strings.TrimPrefix(b, lead)
		s.bodies = append(s.bodies, b)
		for k, text := range strings.Split(b, separator) {
			if i == 0 {
				s.cells = append(s.cells, column{called: fmt.Sprintf("field %d", k+1), from: k, to: k + 1})
			}
			s.cells[k].cells = append(s.cells[k].cells, strings.Trim(text, " "))
		}
	}
	return table{layout: s, samples: samples, bodies: bodies, lead: lead}
}

func (s *separated) form() string      { return "separator" }
func (s *separated) columns() []column { return s.cells }

func (s *separated) rest(taken []column) (free []column) {
	for _, c := range s.cells {
		if !c.overlapsAny(taken) {
			free = append(free, c)
		}
	}
	return free
}

func (s *separated) extent(n int, c column) (from, to int) {
	from = len(s.lead)
	for k, text := range strings.Split(s.bodies[n], s.separator) {
		if k == c.from {
			return from, from + len(text)
		}
		from += len(text) + len(s.separator)
	}
	return 0, 0
}

func (s *separated) write(fields []field) []string {
	lines := []string{"fields:"}
	if s.lead != "" {
		lines = append(lines, "  lead: "+quoted([]byte(s.lead)))
	}
	lines = append(lines, "  separator: "+quoted([]byte(s.separator)))
	return append(lines, list(fields)...)
}
