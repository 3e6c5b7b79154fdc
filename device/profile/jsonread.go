package profile

import (
	"bytes"
	"encoding/json"
)

// maxDepth bounds how deep objects and lists may stand in each other.
const maxDepth = 16

// jsonReader walks over the text of one JSON value (RFC 8259) and notes where the wanted values stand. It allocates
// nothing, and takes nothing that is not JSON.
type jsonReader struct {
	text []byte // up to the end of the line
	at   int
	all  *spans
	why  jsonFault // the first thing that is wrong
}

// jsonFault is an index into what there is to say: a string in the reader would be kept, and the reader with it.
type jsonFault int

const (
	jsonFine jsonFault = iota
	jsonMore
	jsonDeep
	jsonNoValue
	jsonNested
	jsonTwice
	jsonNoKey
	jsonNoBrace
	jsonNoBracket
	jsonNoString
	jsonControl
	jsonEscape
	jsonNoEnd
	jsonNoDigit
)

var jsonFaults = [...]string{
	jsonMore:      "more behind the object",
	jsonDeep:      "objects too deep in each other",
	jsonNoValue:   "no value",
	jsonNested:    "an object or a list for a field",
	jsonTwice:     "a field for the second time",
	jsonNoKey:     "no key with a colon",
	jsonNoBrace:   "no comma or closing brace",
	jsonNoBracket: "no comma or closing bracket",
	jsonNoString:  "no string",
	jsonControl:   "a control character in a string",
	jsonEscape:    "an unknown escape in a string",
	jsonNoEnd:     "a string without an end",
	jsonNoDigit:   "no digit in a number",
}

func (r *jsonReader) peek() byte {
	if r.at < len(r.text) {
		return r.text[r.at]
	}
	return 0
}

func (r *jsonReader) space() {
	for r.at < len(r.text) && (r.text[r.at] == ' ' || r.text[r.at] == '\t' || r.text[r.at] == '\r' || r.text[r.at] == '\n') {
		r.at++
	}
}

// take steps over one byte that must stand here.
func (r *jsonReader) take(c byte) bool {
	if r.space(); r.peek() != c {
		return false
	}
	r.at++
	return true
}

func (r *jsonReader) fail(why jsonFault) bool {
	if r.why == jsonFine {
		r.why = why
	}
	return false
}

// value steps over a value; what is wanted of it stands in m, nil: nothing.
func (r *jsonReader) value(m *member, depth int) bool {
	r.space()
	begin := r.at
	switch c := r.peek(); {
	case depth > maxDepth:
		return r.fail(jsonDeep)
	case c == '{':
		return r.wantsMembers(m) && r.object(m, depth)
	case c == '[':
		return r.wantsMembers(m) && r.list(m, depth)
	case c == '"':
		inner, ok := r.str()
		return ok && r.note(m, inner)
	case c == '-' || c >= '0' && c <= '9':
		return r.number() && r.note(m, spanOf(begin, r.at))
	case r.literal("true"), r.literal("false"):
		return r.note(m, spanOf(begin, r.at))
	case r.literal("null"):
		return r.note(m, span{-1, -1})
	}
	return r.fail(jsonNoValue)
}

func (r *jsonReader) wantsMembers(m *member) bool {
	return m == nil || m.field < 0 || r.fail(jsonNested)
}

// note keeps the place of a wanted value. The second one of the same key is refused: which of them is meant?
func (r *jsonReader) note(m *member, s span) bool {
	switch {
	case m == nil:
		return true
	case m.field < 0:
		return true // a plain value where an object is looked into: its fields are not there
	case r.all[m.field].from >= 0:
		return r.fail(jsonTwice)
	}
	r.all[m.field] = s
	return true
}

func (r *jsonReader) object(m *member, depth int) bool {
	r.at++
	if r.take('}') {
		return true
	}
	for {
		r.space()
		key, ok := r.str()
		if !ok || !r.take(':') {
			return r.fail(jsonNoKey)
		}
		if !r.value(m.named(r.text[key.from:key.to]), depth+1) {
			return false
		}
		if r.take('}') {
			return true
		}
		if !r.take(',') {
			return r.fail(jsonNoBrace)
		}
	}
}

func (r *jsonReader) list(m *member, depth int) bool {
	r.at++
	if r.take(']') {
		return true
	}
	for i := 0; ; i++ {
		if !r.value(m.numbered(i), depth+1) {
			return false
		}
		if r.take(']') {
			return true
		}
		if !r.take(',') {
			return r.fail(jsonNoBracket)
		}
	}
}

// str steps over a string and gives what stands between its quotes.
func (r *jsonReader) str() (inner span, ok bool) {
	if r.peek() != '"' {
		return inner, r.fail(jsonNoString)
	}
	r.at++
	begin := r.at
	for ; r.at < len(r.text); r.at++ {
		switch c := r.text[r.at]; {
		case c == '"':
			r.at++
			return spanOf(begin, r.at-1), true
		case c < ' ':
			return inner, r.fail(jsonControl)
		case c == '\\':
			if r.at++; !r.escape() {
				return inner, r.fail(jsonEscape)
			}
		}
	}
	return inner, r.fail(jsonNoEnd)
}

// escape steps over all but the last byte behind a backslash.
func (r *jsonReader) escape() bool {
	switch r.peek() {
	case '"', '\\', '/', 'b', 'f', 'n', 'r', 't':
		return true
	case 'u':
		for range 4 {
			r.at++
			if hexDigit(r.peek()) > 15 {
				return false
			}
		}
		return true
	}
	return false
}

// number steps over a number in the grammar of JSON.
func (r *jsonReader) number() bool {
	if r.peek() == '-' {
		r.at++
	}
	if r.peek() == '0' {
		r.at++
	} else if !r.digits() {
		return r.fail(jsonNoDigit)
	}
	if r.peek() == '.' {
		if r.at++; !r.digits() {
			return r.fail(jsonNoDigit)
		}
	}
	if c := r.peek(); c == 'e' || c == 'E' {
		r.at++
		if c := r.peek(); c == '+' || c == '-' {
			r.at++
		}
		if !r.digits() {
			return r.fail(jsonNoDigit)
		}
	}
	return true
}

func (r *jsonReader) digits() bool {
	begin := r.at
	for r.at < len(r.text) && r.text[r.at] >= '0' && r.text[r.at] <= '9' {
		r.at++
	}
	return r.at > begin
}

func (r *jsonReader) literal(word string) bool {
	if !bytes.HasPrefix(r.text[r.at:], []byte(word)) {
		return false
	}
	r.at += len(word)
	return true
}

// unescaped is what a string between its quotes means. It is known to be well formed.
func unescaped(inner []byte) string {
	var s string
	if err := json.Unmarshal([]byte(`"`+string(inner)+`"`), &s); err != nil {
		return string(inner)
	}
	return s
}
