package strictyaml

import (
	"fmt"
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"
)

// Node is a place in a file. The zero place (Missing) raises no faults of its own, so that one missing key is said once.
type Node struct {
	doc *Doc
	n   ast.Node
}

// Missing is true for the node of a key that is not there, or of a file that could not be read.
func (n Node) Missing() bool { return n.n == nil }

// Pos is the line and column of the node, counted from 1.
func (n Node) Pos() (line, column int) {
	if n.n == nil || n.n.GetToken() == nil || n.n.GetToken().Position == nil {
		return 0, 0
	}
	tok := n.n.GetToken()
	switch m := n.n.(type) { // a block mapping's token is the colon of its first key
	case *ast.MappingNode:
		if !m.IsFlowStyle && len(m.Values) > 0 {
			tok = m.Values[0].Key.GetToken()
		}
	case *ast.MappingValueNode:
		tok = m.Key.GetToken()
	}
	return tok.Position.Line, tok.Position.Column
}

// Faultf adds a fault at the node.
func (n Node) Faultf(format string, args ...any) {
	line, column := n.Pos()
	n.doc.faults = append(n.doc.faults, Fault{n.doc.file, line, column, fmt.Sprintf(format, args...)})
}

// Text is a scalar as it is written, without its quotes; ok is false, and a fault added, where it is none.
func (n Node) Text() (text string, ok bool) {
	switch s := n.n.(type) {
	case nil:
		return "", false
	case *ast.StringNode:
		return s.Value, true
	case *ast.LiteralNode:
		return s.Value.Value, true
	case *ast.NullNode:
		n.Faultf("found nothing, expected a value")
		return "", false
	case ast.ScalarNode:
		return strings.TrimSpace(s.GetToken().Value), true
	}
	n.Faultf("found %s, expected a single value", n.what())
	return "", false
}

// List is the items of a list; ok is false, and a fault added, where it is none.
func (n Node) List() (items []Node, ok bool) {
	if n.n == nil {
		return nil, false
	}
	s, ok := n.n.(*ast.SequenceNode)
	if !ok {
		n.Faultf("found %s, expected a list", n.what())
		return nil, false
	}
	for _, v := range s.Values {
		items = append(items, Node{n.doc, v})
	}
	return items, true
}

func (n Node) what() string {
	switch n.n.(type) {
	case *ast.MappingNode, *ast.MappingValueNode:
		return "a map"
	case *ast.SequenceNode:
		return "a list"
	case *ast.NullNode:
		return "nothing"
	}
	return fmt.Sprintf("%q", n.n.GetToken().Value)
}

// Map is a mapping of keys to nodes.
type Map struct {
	Node
	keys   []string
	keyAt  map[string]Node
	values map[string]Node
}

// Map reads a mapping in which only the given keys may stand.
func (n Node) Map(allowed ...string) Map {
	m := n.FreeMap()
	for _, k := range m.keys {
		if !slices.Contains(allowed, k) {
			m.keyAt[k].Faultf("unknown key %q, expected one of: %s", k, strings.Join(allowed, ", "))
		}
	}
	return m
}

// FreeMap reads a mapping whose keys are names given by the file.
func (n Node) FreeMap() Map {
	m := Map{Node: n, keyAt: map[string]Node{}, values: map[string]Node{}}
	switch v := n.n.(type) {
	case nil:
	case *ast.MappingNode:
		for _, e := range v.Values {
			m.add(e)
		}
	case *ast.MappingValueNode:
		m.add(v)
	default:
		n.Faultf("found %s, expected a map", n.what())
		m.n = nil
	}
	return m
}

func (m *Map) add(e *ast.MappingValueNode) {
	key := Node{m.doc, e.Key}
	k := e.Key.GetToken().Value
	if _, twice := m.values[k]; twice {
		key.Faultf("key %q stands here a second time", k)
		return
	}
	m.keys = append(m.keys, k)
	m.keyAt[k], m.values[k] = key, Node{m.doc, e.Value}
}

// Keys lists the keys in the order of the file.
func (m Map) Keys() []string { return m.keys }

// KeyNode is the place of a key itself.
func (m Map) KeyNode(key string) Node { return m.keyAt[key] }

// Get is the node of a key; where the key is not there, a missing node.
func (m Map) Get(key string) (Node, bool) {
	v, ok := m.values[key]
	if !ok {
		return Node{doc: m.doc}, false
	}
	return v, true
}

// Need is Get for a key that must be there.
func (m Map) Need(key string) (Node, bool) {
	v, ok := m.Get(key)
	if !ok && m.n != nil {
		m.Faultf("key %q is missing", key)
	}
	return v, ok
}
