package profile

import (
	"fmt"
	"regexp"
	"regexp/syntax"
)

// pattern draws a line by a regular expression (RE2) that must fit all of it; its named groups are the fields.
type pattern struct {
	quick  *matcher
	sure   *regexp.Regexp // for what is too hard for the quick one
	tree   *syntax.Regexp
	groups []int    // by field: the number of its group; 0: it has none
	names  []string // by field: the name of its group
}

// newPattern compiles the expression.
func newPattern(text string) (*pattern, error) {
	tree, err := syntax.Parse(text, syntax.Perl)
	if err != nil {
		return nil, err
	}
	if n := tree.MaxCap(); n > maxFields {
		return nil, fmt.Errorf("%d groups, expected at most %d: (?:…) is a group without a number", n, maxFields)
	}
	quick, err := newMatcher(tree)
	if err != nil {
		return nil, err
	}
	sure, err := regexp.Compile(`\A(?:` + text + `)\z`)
	if err != nil {
		return nil, err
	}
	return &pattern{quick: quick, sure: sure, tree: tree}, nil
}

// find fits the pattern to a line; the places of the groups count from where it begins. A group that is not there
// begins before 0.
func (p *pattern) find(a *attempt) bool {
	fits, known := p.quick.fit(a)
	if known {
		return fits
	}
	at := p.sure.FindSubmatchIndex(a.line)
	for i := range at {
		a.captures[i] = int16(at[i])
	}
	return at != nil
}

// findGroups fits the pattern to the line.
func (fs *fields) findGroups(f []byte, from, to int, all *spans) *refusal {
	a := attempt{line: f[from:to]}
	if !fs.pattern.find(&a) {
		return badForm("found the line %.60q, expected one that fits the pattern", string(f[from:to]))
	}
	for i, g := range fs.pattern.groups {
		begin, end := a.captures[2*g], a.captures[2*g+1]
		if all[i] = (span{-1, -1}); g > 0 && begin >= 0 {
			all[i] = spanOf(from+int(begin), from+int(end))
		}
	}
	return nil
}
