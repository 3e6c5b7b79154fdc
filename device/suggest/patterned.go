package suggest

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
)

// patterned is fields that are told apart by the sort of their characters: T=045.2Nm A=31.0
type patterned struct {
	bodies []string
	model  []token   // of the frame with the most tokens
	pieces []int     // of each token of the model: in which piece it stands, pieces being what blanks part
	tokens [][]token // of each frame, beside those of the model; one that it has not is the zero token
}

// mostTokens bounds the tokens of a line.
const mostTokens = 48

func patternedTables(samples []sample, bodies []string, least int) (tables []table) {
	key := func(b string) string {
		tokens := tokensOf(b)
		if len(tokens) > mostTokens {
			return ""
		}
		return shape(tokens)
	}
	for _, group := range grouped(bodies, key, least) {
		if t, ok := patternedTable(samples, bodies, group, group[0]); ok {
			tables = append(tables, t)
		}
	}
	if longest, group := withGaps(bodies); len(group) >= least {
		if t, ok := patternedTable(samples, bodies, group, longest); ok {
			tables = append(tables, t)
		}
	}
	return tables
}

func patternedTable(samples []sample, bodies []string, group []int, model int) (table, bool) {
	p := &patterned{bodies: pickAll(bodies, group), model: tokensOf(bodies[model])}
	p.pieces = piecesOf(p.model)
	for _, b := range p.bodies {
		tokens, ok := p.align(tokensOf(b))
		if !ok {
			return table{}, false
		}
		p.tokens = append(p.tokens, tokens)
	}
	return table{layout: p, samples: pickAll(samples, group), bodies: p.bodies}, true
}

// align puts the tokens of a frame beside those of the model.
func (p *patterned) align(tokens []token) ([]token, bool) {
	if shape(tokens) == shape(p.model) {
		return tokens, true
	}
	at, ok := within(pieceKeys(tokens), pieceKeys(p.model))
	if !ok {
		return nil, false
	}
	all := make([]token, len(p.model))
	pieces := piecesOf(tokens)
	n := 0
	for k := range p.model {
		if n < len(tokens) && at[pieces[n]] == p.pieces[k] {
			all[k] = tokens[n]
			n++
		}
	}
	return all, n == len(tokens)
}

func (p *patterned) form() string { return "pattern" }

func (p *patterned) extent(n int, c column) (from, to int) {
	return p.tokens[n][c.from].from, p.tokens[n][c.from].to
}

func (p *patterned) columns() (all []column) {
	for k, t := range p.model {
		if !strings.ContainsRune("nwc", rune(t.sort)) {
			continue
		}
		c := column{from: k, to: k + 1, label: p.label(k)}
		c.called = fmt.Sprintf("the %s piece of the line", ordinal(k+1))
		if c.label != "" {
			c.called = fmt.Sprintf("what follows %q", strings.TrimSpace(p.labelText(k)))
		}
		for _, tokens := range p.tokens {
			c.cells = append(c.cells, tokens[k].text)
		}
		all = append(all, c)
	}
	return all
}

// labelText is the word before a token, if only colons, equals signs and points stand between them.
func (p *patterned) labelText(k int) string {
	for k--; k >= 0; k-- {
		switch t := p.model[k]; t.sort {
		case ':', '=', '.':
		case 'w':
			if p.constant(k) {
				return t.text
			}
			return ""
		default:
			return ""
		}
	}
	return ""
}

func (p *patterned) label(k int) string { return strings.ToLower(p.labelText(k)) }

// constant says whether all frames that have the token have the same.
func (p *patterned) constant(k int) bool {
	for _, tokens := range p.tokens {
		if t := tokens[k]; t.sort != 0 && t.text != p.model[k].text {
			return false
		}
	}
	return true
}

// labels says whether the word is the label of what follows it.
func (p *patterned) labels(k int) bool {
	return k+1 < len(p.model) && p.constant(k) && p.model[k].sort == 'w' && strings.IndexByte(":=.", p.model[k+1].sort) >= 0
}

func (p *patterned) rest(taken []column) (free []column) {
	for _, c := range p.columns() {
		if !c.overlapsAny(taken) && !p.labels(c.from) {
			free = append(free, c)
		}
	}
	return free
}

func (p *patterned) write(fields []field) []string {
	named := map[int]string{}
	for _, f := range fields {
		named[f.from] = f.name
	}
	pattern := strings.ReplaceAll(p.expression(named), "'", "''")
	lines := []string{"fields:", "  pattern: '" + pattern + "'"}
	return append(lines, list(fields)...)
}

// expression is the regular expression of the whole line; what is not named is passed over.
func (p *patterned) expression(named map[int]string) string {
	var b strings.Builder
	open := false
	for k := range p.model {
		if open && p.pieces[k] != p.pieces[k-1] {
			b.WriteString(")?")
			open = false
		}
		if (k == 0 || p.pieces[k] != p.pieces[k-1]) && p.missing(k) {
			b.WriteString("(?:")
			open = true
		}
		if p.blanks(k) {
			b.WriteString(" *")
		}
		some := p.some(k)
		if name, ok := named[k]; ok {
			some = "(?P<" + name + ">" + some + ")"
		}
		b.WriteString(some)
	}
	if open {
		b.WriteString(")?")
	}
	if p.blanks(len(p.model)) {
		b.WriteString(" *")
	}
	return b.String()
}

// missing says whether some frames have not the token.
func (p *patterned) missing(k int) bool {
	return slices.ContainsFunc(p.tokens, func(tokens []token) bool { return tokens[k].sort == 0 })
}

// some is the expression of one token: marks, and words that never change, stand for themselves unless they are read.
func (p *patterned) some(k int) string {
	seen := ""
	for _, tokens := range p.tokens {
		seen += tokens[k].text
	}
	switch p.model[k].sort {
	case 'n':
		some := "[-+0-9"
		for _, mark := range []string{".", ","} {
			if strings.Contains(seen, mark) {
				some += mark
			}
		}
		return some + "]+"
	case 'c':
		return "[-0-9T:./ ]+"
	case 'w':
		switch {
		case p.labels(k), p.constant(k) && !isWord(p.model[k].text):
			return literal(p.model[k].text)
		case strings.ContainsAny(seen, "-.*"):
			return "[-A-Za-z.*]+"
		}
		return "[A-Za-z]+"
	}
	return literal(p.model[k].text)
}

// literal is the expression of a text that stands for itself; control characters are written by their numbers.
func literal(text string) string {
	var b strings.Builder
	for _, c := range []byte(text) {
		if c < ' ' {
			fmt.Fprintf(&b, `\x%02x`, c)
			continue
		}
		b.WriteString(regexp.QuoteMeta(string(rune(c))))
	}
	return b.String()
}

// blanks says whether any frame has blanks before the token; behind the last one there is the end.
func (p *patterned) blanks(k int) bool {
	for n, tokens := range p.tokens {
		from, to := 0, len(p.bodies[n])
		if k < len(tokens) {
			if tokens[k].sort == 0 {
				continue
			}
			to = tokens[k].from
		}
		for before := range tokens[:min(k, len(tokens))] {
			from = max(from, tokens[before].to)
		}
		if to > from {
			return true
		}
	}
	return false
}

func ordinal(n int) string {
	switch {
	case n%10 == 1 && n%100 != 11:
		return fmt.Sprintf("%dst", n)
	case n%10 == 2 && n%100 != 12:
		return fmt.Sprintf("%dnd", n)
	case n%10 == 3 && n%100 != 13:
		return fmt.Sprintf("%drd", n)
	}
	return fmt.Sprintf("%dth", n)
}
