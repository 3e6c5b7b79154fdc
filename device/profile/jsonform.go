package profile

import (
	"bytes"
	"strconv"
)

// member is what is looked for in a JSON object or list: the value of a key or of an index, or what stands in it.
type member struct {
	key   string
	index int // of a list; -1: the key is no number
	field int // index of the field; -1: it has members itself
	below []member
}

// findMembers reads the line as one JSON object. A string's place is that between its quotes.
func (fs *fields) findMembers(f []byte, from, to int, all *spans) *refusal {
	for i := range fs.list {
		all[i] = span{-1, -1}
	}
	r := jsonReader{text: f[:to], at: from, all: all}
	if r.space(); r.peek() != '{' {
		return badForm("found the line %.60q, expected a JSON object", string(f[from:to]))
	}
	r.value(fs.paths, 0)
	if r.space(); r.why == jsonFine && r.at < to {
		r.why = jsonMore
	}
	if r.why != jsonFine {
		return badForm("found %s at byte %d of the line, expected a JSON object", jsonFaults[r.why], r.at-from+1)
	}
	return nil
}

func (m *member) named(key []byte) *member {
	if m == nil {
		return nil
	}
	if bytes.IndexByte(key, '\\') >= 0 {
		key = []byte(unescaped(key))
	}
	for i := range m.below {
		if m.below[i].key == string(key) {
			return &m.below[i]
		}
	}
	return nil
}

func (m *member) numbered(index int) *member {
	if m == nil {
		return nil
	}
	for i := range m.below {
		if m.below[i].index == index {
			return &m.below[i]
		}
	}
	return nil
}

// pathTree gathers the dotted paths of the fields.
func (fs *fields) pathTree() *member {
	top := &member{field: -1, index: -1}
	for i := range fs.list {
		m := top
		for _, key := range fs.list[i].path {
			m = m.add(key)
		}
		if m != top {
			m.field = i
		}
	}
	return top
}

func (m *member) add(key string) *member {
	for i := range m.below {
		if m.below[i].key == key {
			return &m.below[i]
		}
	}
	index, err := strconv.Atoi(key)
	if err != nil {
		index = -1
	}
	m.below = append(m.below, member{key: key, index: index, field: -1})
	return &m.below[len(m.below)-1]
}
