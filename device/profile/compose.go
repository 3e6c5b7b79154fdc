package profile

import (
	"regexp/syntax"
	"strings"
)

// compose writes a line that the pattern fits and whose groups hold the texts: of several ways to fit it takes the
// shortest, and of several characters the first. ok is false if there is none.
func (p *pattern) compose(texts []string) (line []byte, ok bool) {
	c := composer{texts: map[string]string{}}
	for i, name := range p.names {
		if name != "" {
			c.texts[name] = texts[i]
		}
	}
	if !c.write(p.tree) {
		return nil, false
	}
	at := attempt{line: []byte(c.line.String())}
	if !p.find(&at) {
		return nil, false
	}
	for i, g := range p.groups {
		found := ""
		if g > 0 && at.captures[2*g] >= 0 {
			found = string(at.line[at.captures[2*g]:at.captures[2*g+1]])
		}
		if g > 0 && found != texts[i] {
			return nil, false
		}
	}
	return at.line, true
}

// composer walks over an expression.
type composer struct {
	texts map[string]string
	line  strings.Builder
}

func (c *composer) write(e *syntax.Regexp) bool {
	switch e.Op {
	case syntax.OpLiteral:
		c.line.WriteString(string(e.Rune))
	case syntax.OpCharClass:
		if len(e.Rune) == 0 {
			return false
		}
		c.line.WriteRune(someRune(e.Rune))
	case syntax.OpAnyChar, syntax.OpAnyCharNotNL:
		c.line.WriteByte(' ')
	case syntax.OpCapture:
		if e.Name == "" {
			return c.write(e.Sub[0])
		}
		c.line.WriteString(c.texts[e.Name])
	case syntax.OpConcat:
		return c.all(e.Sub)
	case syntax.OpAlternate:
		return c.write(c.choice(e.Sub))
	case syntax.OpStar, syntax.OpQuest:
		return !c.says(e.Sub[0]) || c.write(e.Sub[0])
	case syntax.OpPlus:
		return c.write(e.Sub[0])
	case syntax.OpRepeat:
		return c.repeat(e)
	case syntax.OpNoMatch:
		return false
	}
	return true // the others match nothing at all
}

func (c *composer) all(parts []*syntax.Regexp) bool {
	for _, e := range parts {
		if !c.write(e) {
			return false
		}
	}
	return true
}

func (c *composer) repeat(e *syntax.Regexp) bool {
	times := e.Min
	if times == 0 && c.says(e.Sub[0]) {
		times = 1
	}
	for range times {
		if !c.write(e.Sub[0]) {
			return false
		}
	}
	return true
}

// says tells an expression with a group that has a text.
func (c *composer) says(e *syntax.Regexp) bool {
	if e.Op == syntax.OpCapture && c.texts[e.Name] != "" {
		return true
	}
	for _, sub := range e.Sub {
		if c.says(sub) {
			return true
		}
	}
	return false
}

// choice prefers what says something, then what has nothing to say.
func (c *composer) choice(parts []*syntax.Regexp) *syntax.Regexp {
	for _, e := range parts {
		if c.says(e) {
			return e
		}
	}
	for _, e := range parts {
		if e.MaxCap() == 0 {
			return e
		}
	}
	return parts[0]
}

// someRune takes a printable character of a class, given as pairs of first and last, if there is one.
func someRune(class []rune) rune {
	for i := 0; i < len(class); i += 2 {
		if low := max(class[i], ' '); low <= class[i+1] {
			return low
		}
	}
	return class[0]
}
