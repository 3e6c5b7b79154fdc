package strictyaml

import (
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml/token"
)

// The parser calls itself for every level and takes time with the square of a map's length. Both limits are far beyond
// what people write.
const (
	maxDepth  = 32
	maxTokens = 100_000
)

var refused = map[token.Type]string{
	token.AnchorType:    "an anchor",
	token.AliasType:     "an alias",
	token.MergeKeyType:  "a merge key",
	token.TagType:       "a tag",
	token.DirectiveType: "a directive",
}

// plain faults what is legal YAML but not ours, before the parser sees it.
func (d *Doc) plain(tokens token.Tokens) bool {
	if len(tokens) > maxTokens {
		line, column := place(tokens[maxTokens])
		d.fault(line, column, "found more than %d words and marks, expected a shorter file", maxTokens)
		return false
	}
	before := len(d.faults) + d.more
	var deep depth
	for _, t := range tokens {
		line, column := place(t)
		if what, ok := refused[t.Type]; ok {
			d.fault(line, column, "found %s (%s), expected every value written out", what, quote(strings.TrimSpace(t.Value)))
		}
		if !utf8.ValidString(t.Value) || strings.ContainsFunc(t.Value, control) {
			d.fault(line, column, "found an escaped control character in %s, expected text", quote(t.Value))
		}
		if deep.after(t) > maxDepth {
			d.fault(line, column, "found more than %d levels of lists and maps, expected fewer", maxDepth)
			return false
		}
	}
	return len(d.faults)+d.more == before
}

// depth counts open brackets, and the dashes that open lists within lists on one line. Levels by indentation need no
// count: each costs a line that is longer than the one before.
type depth struct{ brackets, dashes, line int }

func (d *depth) after(t *token.Token) int {
	if line, _ := place(t); line != d.line {
		d.line, d.dashes = line, 0
	}
	switch t.Type {
	case token.MappingStartType, token.SequenceStartType:
		d.brackets++
	case token.MappingEndType, token.SequenceEndType:
		d.brackets--
	case token.SequenceEntryType, token.MappingKeyType:
		d.dashes++
	}
	return d.brackets + d.dashes
}
