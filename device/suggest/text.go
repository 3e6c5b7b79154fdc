package suggest

import (
	"bytes"
	"slices"
	"strings"
)

// column is one place in the frames where a field may stand, with what stands there in each frame.
type column struct {
	place  string   // the settings by which a profile finds it, such as "at: 3..9"; empty: by its turn or its name
	called string   // how a person finds it: "field 3", "columns 3 to 9", "result.torque", "bytes 4 and 5"
	label  string   // what the frame itself calls it, in lower case: the key of JSON, the letters before a number
	from   int      // its extent, to know columns that overlap; in what unit is the layout's own business
	to     int      //
	cells  []string // without blanks around; empty: nothing stands there
	cost   int      // of columns that hold the same numbers the one with the least cost is taken
	binary bool     // a number of bytes; its cells are decimal text
	signed bool     // of binary ones: it can be negative
	sort   bool     // what stands there tells these frames from others of the capture
}

func (c column) overlaps(other column) bool { return c.from < other.to && other.from < c.to }

func (c column) overlapsAny(others []column) bool { return slices.ContainsFunc(others, c.overlaps) }

// distinct is what stands in the column, each text once, in the order in which they come.
func (c column) distinct() (texts []string) {
	for _, t := range c.cells {
		if t != "" && !slices.Contains(texts, t) {
			texts = append(texts, t)
		}
	}
	return texts
}

// gaps says whether some frames have nothing there.
func (c column) gaps() bool { return slices.Contains(c.cells, "") }

// layout is how the fields stand in frames that are alike.
type layout interface {
	// columns are the places where a number may stand. They may overlap.
	columns() []column
	// rest is what the frames hold beside the columns taken, in the order of the frame. They do not overlap.
	rest(taken []column) []column
	// write gives the lines of the profile from "fields:" on.
	write(fields []field) []string
	// form is what the layout is called in a profile.
	form() string
	// extent is where a column stands in the nth frame, counted from the beginning of its body.
	extent(n int, c column) (from, to int)
}

// table is a layout with the frames that have it.
type table struct {
	layout
	samples []sample
	bodies  []string // of text
	lead    string   // what every body begins with and is left out of it
	sort    string   // by what these frames are told from others of the capture, where that is no first word; empty: nothing
}

// word is the word with which all frames begin; empty: none.
func (t table) word() string {
	if len(t.bodies) == 0 {
		return ""
	}
	word := plainWord.FindString(strings.TrimPrefix(t.bodies[0], t.lead))
	if slices.ContainsFunc(t.bodies, func(b string) bool { return !strings.HasPrefix(b, t.lead+word) }) {
		return ""
	}
	return word
}

// body is what stands between the ends of a frame and before its check.
func body(c cut, s seal, frame []byte) ([]byte, bool) {
	from, to := c.head, len(frame)-len(c.end)-c.after
	if c.any {
		to = len(bytes.TrimRight(frame, "\r\n"))
	}
	if !s.none() {
		to = min(to, len(frame)+s.at-len(s.mark))
	}
	if from > to {
		return nil, false
	}
	return frame[from:to], true
}

// texts gives the frames whose bodies are text and whose check is right, and the bodies.
func texts(c cut, s seal) (samples []sample, bodies []string) {
	for _, f := range c.samples {
		b, ok := body(c, s, f.bytes)
		if ok && len(b) > 0 && c.isText(b) && (s.none() || s.fit(f.bytes)) {
			samples, bodies = append(samples, f), append(bodies, string(b))
		}
	}
	return samples, bodies
}

func isText(b []byte) bool {
	return !bytes.ContainsFunc(b, func(r rune) bool { return r == 0 || r > '~' })
}

// isText says whether the body of a frame is text; in a line nothing of an ending may be left.
func (c cut) isText(b []byte) bool { return isText(b) && !(c.line && bytes.ContainsAny(b, "\r\n")) }

// leadOf is the sign with which every body begins, such as #; digits, letters and what belongs to a number are none.
func leadOf(bodies []string) string {
	lead := bodies[0]
	for _, b := range bodies[1:] {
		for !strings.HasPrefix(b, lead) {
			lead = lead[:len(lead)-1]
		}
	}
	if end := strings.IndexFunc(lead, func(r rune) bool {
		return r <= '~' && alphanumeric(byte(r)) || strings.ContainsRune("+-. \t\"'{[", r)
	}); end >= 0 {
		lead = lead[:end]
	}
	return lead[:min(len(lead), mostLead)]
}

// grouped sorts the frames by a key, the largest group first; a key of "" is no group.
func grouped(bodies []string, key func(string) string, least int) (groups [][]int) {
	at := map[string]int{}
	for i, b := range bodies {
		k := key(b)
		if k == "" {
			continue
		}
		if _, known := at[k]; !known {
			at[k] = len(groups)
			groups = append(groups, nil)
		}
		groups[at[k]] = append(groups[at[k]], i)
	}
	groups = slices.DeleteFunc(groups, func(g []int) bool { return len(g) < least })
	slices.SortStableFunc(groups, func(a, b []int) int { return len(b) - len(a) })
	return groups[:min(len(groups), mostGroups)]
}

// mostGroups bounds how many sorts of frames of one capture are looked at.
const mostGroups = 6

func pickAll[T any](all []T, which []int) []T {
	some := make([]T, len(which))
	for i, n := range which {
		some[i] = all[n]
	}
	return some
}
