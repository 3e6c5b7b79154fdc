package ledger

import (
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
	"unicode/utf16"
	"unicode/utf8"

	"github.com/gowebpki/jcs"
)

// plan is how the records of one type are written: their fields and those of every leaf, in the order of RFC 8785. A
// general encoder, which finds all this out again for each leaf, costs ten times as much.
type plan struct {
	fields []field
	hides  bool
}

// field is one of them; index is nil for those of every leaf.
type field struct {
	name   string
	key    []byte // "name":
	index  []int
	omit   bool // left out where it is empty
	append func([]byte, reflect.Value) ([]byte, error)
}

var plans sync.Map // reflect.Type to *plan

func planOf(t reflect.Type) (*plan, error) {
	if p, ok := plans.Load(t); ok {
		return p.(*plan), nil
	}
	if t.Kind() != reflect.Struct {
		return nil, fmt.Errorf("write leaf: a record must be a struct, not %s", t)
	}
	p := &plan{hides: t.Implements(reflect.TypeFor[hider]())}
	for _, name := range []string{"kind", "seq", "at", "refused"} {
		p.fields = append(p.fields, field{name: name})
	}
	p.gather(t, nil)
	slices.SortFunc(p.fields, func(a, b field) int {
		return slices.Compare(utf16.Encode([]rune(a.name)), utf16.Encode([]rune(b.name))) // RFC 8785, 3.2.3
	})
	for i := range p.fields {
		f := &p.fields[i]
		if i > 0 && f.name == p.fields[i-1].name {
			return nil, fmt.Errorf("write leaf: %s has a field %q of its own, or twice", t, f.name)
		}
		f.key = append(appendText(nil, f.name), ':')
	}
	plans.Store(t, p)
	return p, nil
}

// gather adds the fields of a struct by their json tags, those of embedded structs among them.
func (p *plan) gather(t reflect.Type, index []int) {
	for i := range t.NumField() {
		f, at := t.Field(i), append(slices.Clone(index), i)
		if f.Anonymous {
			p.gather(f.Type, at)
			continue
		}
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		if name == "" {
			name = f.Name
		}
		if name != "-" {
			p.fields = append(p.fields, field{name: name, index: at, omit: options == "omitempty", append: appender(f.Type)})
		}
	}
}

// empty is what omitempty leaves out.
func empty(v reflect.Value) bool {
	switch v.Kind() {
	case reflect.Slice, reflect.Map, reflect.Array:
		return v.Len() == 0
	case reflect.Struct:
		return false
	}
	return v.IsZero()
}

// appender says how a value of a type is written.
func appender(t reflect.Type) func([]byte, reflect.Value) ([]byte, error) {
	switch {
	case t.Kind() == reflect.Pointer:
		inner := appender(t.Elem())
		return func(to []byte, v reflect.Value) ([]byte, error) {
			if v.IsNil() {
				return append(to, "null"...), nil
			}
			return inner(to, v.Elem())
		}
	case reflect.PointerTo(t).Implements(reflect.TypeFor[json.Marshaler]()):
		return appendMarshaled
	case t.Kind() == reflect.String:
		return func(to []byte, v reflect.Value) ([]byte, error) { return appendText(to, v.String()), nil }
	case t.Kind() == reflect.Bool:
		return func(to []byte, v reflect.Value) ([]byte, error) { return strconv.AppendBool(to, v.Bool()), nil }
	case t.Kind() >= reflect.Int && t.Kind() <= reflect.Int64:
		return func(to []byte, v reflect.Value) ([]byte, error) {
			return append(strconv.AppendInt(append(to, '"'), v.Int(), 10), '"'), nil
		}
	case t.Kind() >= reflect.Uint && t.Kind() <= reflect.Uint64:
		return func(to []byte, v reflect.Value) ([]byte, error) {
			return append(strconv.AppendUint(append(to, '"'), v.Uint(), 10), '"'), nil
		}
	case t == reflect.TypeFor[[]byte]():
		return appendBytes
	case t == reflect.TypeFor[[]string]():
		return appendTexts
	}
	return appendOther
}

func appendBytes(to []byte, v reflect.Value) ([]byte, error) {
	if v.IsNil() {
		return append(to, "null"...), nil
	}
	return append(base64.StdEncoding.AppendEncode(append(to, '"'), v.Bytes()), '"'), nil
}

func appendTexts(to []byte, v reflect.Value) ([]byte, error) {
	if v.IsNil() {
		return append(to, "null"...), nil
	}
	to = append(to, '[')
	for i := range v.Len() {
		if i > 0 {
			to = append(to, ',')
		}
		to = appendText(to, v.Index(i).String())
	}
	return append(to, ']'), nil
}

// appendMarshaled writes a value that has a JSON form of its own. Nearly all are plain text, such as a torque.
func appendMarshaled(to []byte, v reflect.Value) ([]byte, error) {
	b, err := v.Addr().Interface().(json.Marshaler).MarshalJSON()
	if err != nil {
		return nil, err
	}
	n := len(b) - 1
	if n < 1 || b[0] != '"' || b[n] != '"' {
		return appendOther(to, v)
	}
	for _, c := range b[1:n] {
		if c < ' ' || c >= utf8.RuneSelf || c == '"' || c == '\\' {
			return appendOther(to, v)
		}
	}
	return append(to, b...), nil
}

// appendOther writes a value by its own JSON form. Numbers become text.
func appendOther(to []byte, v reflect.Value) ([]byte, error) {
	b, err := json.Marshal(v.Addr().Interface())
	if err != nil {
		return nil, err
	}
	if len(b) == 0 {
		return nil, errors.New("it has no JSON form")
	}
	if c := b[0]; c == '-' || c >= '0' && c <= '9' {
		return appendText(to, string(b)), nil
	}
	if b, err = jcs.Transform(b); err != nil {
		return nil, err
	}
	return append(to, b...), nil
}

// escapes are the characters that RFC 8785, 3.2.2.2 writes with a letter.
var escapes = map[byte]byte{'"': '"', '\\': '\\', '\b': 'b', '\f': 'f', '\n': 'n', '\r': 'r', '\t': 't'}

// appendText writes a string. What is not UTF-8 becomes U+FFFD, as encoding/json has it.
func appendText(to []byte, s string) []byte {
	to = append(to, '"')
	start := 0
	for i := 0; i < len(s); {
		c := s[i]
		if c >= ' ' && c < utf8.RuneSelf && c != '"' && c != '\\' {
			i++
			continue
		}
		r, n := utf8.DecodeRuneInString(s[i:])
		if c >= utf8.RuneSelf && (r != utf8.RuneError || n > 1) {
			i += n
			continue
		}
		to = append(to, s[start:i]...)
		letter, short := escapes[c]
		switch {
		case c >= utf8.RuneSelf:
			to = utf8.AppendRune(to, utf8.RuneError)
		case short:
			to = append(to, '\\', letter)
		default:
			to = append(to, fmt.Sprintf("\\u%04x", c)...)
		}
		i += n
		start = i
	}
	return append(append(to, s[start:]...), '"')
}
