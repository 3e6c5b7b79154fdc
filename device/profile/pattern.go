package profile

import (
	"regexp"
	"regexp/syntax"
)

// pattern draws a line by a regular expression (RE2) that must fit all of it; its named groups are the fields.
type pattern struct {
	fit    *regexp.Regexp
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
	fit, err := regexp.Compile(`\A(?:` + text + `)\z`)
	if err != nil {
		return nil, err
	}
	return &pattern{fit: fit, tree: tree}, nil
}

// findGroups fits the pattern to the line.
func (fs *fields) findGroups(f []byte, from, to int, all *spans) *refusal {
	at := fs.pattern.fit.FindSubmatchIndex(f[from:to])
	if at == nil {
		return badForm("found the line %.60q, expected one that fits the pattern", string(f[from:to]))
	}
	for i, g := range fs.pattern.groups {
		all[i] = span{-1, -1}
		if g > 0 && at[2*g] >= 0 {
			all[i] = spanOf(from+at[2*g], from+at[2*g+1])
		}
	}
	return nil
}
