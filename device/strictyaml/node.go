package strictyaml

import (
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"
)

// kind is what a node is, in the words of a fault.
type kind string

const (
	absent  kind = "" // could not be read, or is not there: a fault says so already, if it is one
	nothing kind = "nothing"
	text    kind = "text"
	list    kind = "a list"
	mapping kind = "a map"
)

// Node is a value in the file with its place. The zero Node, and the one of a key that is not there, reads as nothing
// and adds no faults by being read.
type Node struct {
	doc          *Doc
	node         ast.Node
	kind         kind
	line, column int
}

// node wraps what the parser made; line and column are the place of an empty value.
func (d *Doc) node(n ast.Node, line, column int) Node {
	v := Node{doc: d, node: n, line: line, column: column}
	switch n := n.(type) {
	case nil:
		v.kind = nothing
	case *ast.NullNode:
		v.kind = nothing
		if n.Token != nil && n.Token.Type != token.ImplicitNullType {
			v.line, v.column = place(n.Token)
		}
	case *ast.MappingNode:
		v.kind = mapping
		if v.line, v.column = place(n.Start); !n.IsFlowStyle && len(n.Values) > 0 {
			v.line, v.column = place(n.Values[0].Key.GetToken())
		}
	case *ast.MappingValueNode:
		v.kind = mapping
		v.line, v.column = place(n.Key.GetToken())
	case *ast.SequenceNode:
		v.kind = list
		v.line, v.column = place(n.Start)
	default:
		v.kind = text
		v.line, v.column = place(n.GetToken())
	}
	return v
}

// Pos is the place of the node in the file, counted from 1.
func (n Node) Pos() (line, column int) { return n.line, n.column }

// Faultf adds a fault at the place of the node. A message says what was found and what was expected.
func (n Node) Faultf(format string, args ...any) {
	if n.doc != nil {
		n.doc.fault(n.line, n.column, format, args...)
	}
}

// Text is a scalar as it was written, without its quotes: 0x1F, 1_000 and yes stay as they are. A block scalar keeps
// its line ends. Anything else, an empty value and null are faults.
func (n Node) Text() (string, bool) {
	if !n.is(text, "text") {
		return "", false
	}
	if l, ok := n.node.(*ast.LiteralNode); ok {
		return l.Value.Value, true
	}
	return n.node.GetToken().Value, true
}

// List is the items of a list; anything else is a fault. An empty list gives none and true.
func (n Node) List() ([]Node, bool) {
	if !n.is(list, "a list") {
		return nil, false
	}
	s := n.node.(*ast.SequenceNode)
	items := make([]Node, len(s.Values))
	for i, v := range s.Values {
		line, column := n.line, n.column
		if v != nil {
			line, column = place(v.GetToken())
		}
		items[i] = n.doc.node(v, line, column)
	}
	return items, true
}

func (n Node) is(want kind, words string) bool {
	if n.kind != want && n.kind != absent {
		n.Faultf("found %s, expected %s", n.found(), words)
	}
	return n.kind == want
}

func (n Node) found() string {
	if n.kind == text {
		s, _ := n.Text()
		return "the text " + quote(s)
	}
	return string(n.kind)
}

// IsList tells a list where both a list and text may stand; it adds no fault.
func (n Node) IsList() bool { return n.kind == list }

// IsMap tells a map where both a map and text may stand; it adds no fault.
func (n Node) IsMap() bool { return n.kind == mapping }
