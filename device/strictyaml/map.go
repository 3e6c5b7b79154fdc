package strictyaml

import (
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"
)

// Map is the keys of a map with their values, in the order of the file. The zero Map is empty and adds no faults.
type Map struct {
	node    Node
	entries []entry
	found   map[string]int // index into entries
}

type entry struct {
	key   string
	at    Node // the key itself
	value Node
}

// Map is a map of which every key is one of those allowed. An unknown key, a key that stands twice and what is no map
// are faults; the Map holds what can be read all the same.
func (n Node) Map(allowed ...string) Map {
	if !n.is(mapping, "a map with "+choice(allowed)) {
		return Map{node: n}
	}
	m := n.read()
	for _, e := range m.entries {
		if !slices.Contains(allowed, e.key) {
			e.at.Faultf("found the unknown key %s, expected %s", quote(e.key), choice(allowed))
		}
	}
	return m
}

// FreeMap is a map whose keys are names that the writer of the file chose. A key that stands twice and what is no map
// are faults.
func (n Node) FreeMap() Map {
	if !n.is(mapping, "a map") {
		return Map{node: n}
	}
	return n.read()
}

// read takes the first of several equal keys.
func (n Node) read() Map {
	m := Map{node: n, found: map[string]int{}}
	for _, v := range pairs(n.node) {
		e, ok := n.doc.entry(v)
		if !ok {
			continue
		}
		if first, twice := m.found[e.key]; twice {
			line, _ := m.entries[first].at.Pos()
			e.at.Faultf("found the key %s again, expected it once; it stands in line %d already", quote(e.key), line)
			continue
		}
		m.found[e.key] = len(m.entries)
		m.entries = append(m.entries, e)
	}
	return m
}

// pairs knows that the parser leaves a map of one pair bare at times.
func pairs(n ast.Node) []*ast.MappingValueNode {
	if one, ok := n.(*ast.MappingValueNode); ok {
		return []*ast.MappingValueNode{one}
	}
	return n.(*ast.MappingNode).Values
}

func (d *Doc) entry(v *ast.MappingValueNode) (entry, bool) {
	key := ast.Node(v.Key)
	if explicit, ok := key.(*ast.MappingKeyNode); ok { // "? key"
		key = explicit.Value
	}
	line, column := place(v.Key.GetToken())
	at := d.node(key, line, column)
	name, ok := at.Text()
	line, column = place(v.Start) // the parser knows no good place for an empty value: take the colon's
	return entry{key: name, at: at, value: d.node(v.Value, line, column)}, ok
}

// Node is the map as a whole, for its place.
func (m Map) Node() Node { return m.node }

// Keys is every key in the order of the file, unknown ones included.
func (m Map) Keys() []string {
	keys := make([]string, len(m.entries))
	for i := range m.entries {
		keys[i] = m.entries[i].key
	}
	return keys
}

// Key is the node of a key itself, for faults about its name.
func (m Map) Key(key string) (Node, bool) {
	if i, ok := m.found[key]; ok {
		return m.entries[i].at, true
	}
	return m.missing(), false
}

// Get is the value of a key. A key that is not there gives false and a node with the place of the map, that reads as
// nothing.
func (m Map) Get(key string) (Node, bool) {
	if i, ok := m.found[key]; ok {
		return m.entries[i].value, true
	}
	return m.missing(), false
}

// Need is Get with a fault when the key is not there.
func (m Map) Need(key string) (Node, bool) {
	n, ok := m.Get(key)
	if !ok && m.node.kind == mapping {
		n.Faultf("found no key %s, expected it here", quote(key))
	}
	return n, ok
}

func (m Map) missing() Node {
	return Node{doc: m.node.doc, line: m.node.line, column: m.node.column}
}

func choice(keys []string) string {
	switch len(keys) {
	case 0:
		return "no key"
	case 1:
		return keys[0]
	}
	return strings.Join(keys[:len(keys)-1], ", ") + " or " + keys[len(keys)-1]
}
