// Package strictyaml reads the YAML files of a workshop strictly: wrench profiles, procedures, configuration. Every
// key must be expected, every fault is kept with its place so that all of them are told in one go, and what makes
// YAML hard to read (anchors, aliases, merge keys, tags, several documents) is refused.
//
//	doc := strictyaml.Parse("bench.yaml", text)
//	m := doc.Root().Map("format", "title")
//	if n, ok := m.Need("title"); ok {
//		title, _ = n.Text()
//	}
//	if err := doc.Err(); err != nil { … }
//
// Reading goes on after a fault: what cannot be read gives false or nothing, and adds no second fault.
package strictyaml

import (
	"bytes"
	"errors"
	"fmt"
	"unicode/utf8"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// MaxBytes is the size up to which a file is read.
const MaxBytes = 4 << 20

// Doc is one file and the faults found in it. It is not for use by several goroutines at once.
type Doc struct {
	file   string
	root   Node
	faults Faults
	more   int // faults beyond maxFaults
}

// Parse reads the text of a file; file is only the name that faults carry. The faults, those of YAML itself
// included, are told by Err; after a fault of YAML there is a single one or a few, and Root is a node to which nothing
// more is added.
func Parse(file string, text []byte) *Doc {
	d := &Doc{file: file}
	d.root = Node{doc: d, line: 1, column: 1, kind: absent}
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	if len(text) > MaxBytes {
		d.fault(1, 1, "found %d bytes, expected a file of at most %d", len(text), MaxBytes)
		return d
	}
	if !d.readable(text) {
		return d
	}
	if body, ok := d.parse(string(text)); ok {
		d.root = d.node(body, 1, 1)
	}
	return d
}

// Root is the top of the file.
func (d *Doc) Root() Node { return d.root }

// Faultf adds a fault that concerns the file as a whole.
func (d *Doc) Faultf(format string, args ...any) { d.fault(1, 1, format, args...) }

// readable faults the first byte that no text has.
func (d *Doc) readable(text []byte) bool {
	line, column := 1, 1
	for len(text) > 0 {
		r, size := utf8.DecodeRune(text)
		switch {
		case r == utf8.RuneError && size == 1:
			d.fault(line, column, "found the byte %#02x, expected text in UTF-8", text[0])
			return false
		case control(r):
			d.fault(line, column, "found the control character %U, expected text", r)
			return false
		case r == '\n':
			line, column = line+1, 0
		}
		column++
		text = text[size:]
	}
	return true
}

// control tells the characters that no file and no text of ours holds; PostgreSQL for one keeps no NUL.
func control(r rune) bool { return r < ' ' && r != '\t' && r != '\n' && r != '\r' || r == 0x7f }

// parse gives the body of the only document, nil for an empty one.
func (d *Doc) parse(text string) (body ast.Node, ok bool) {
	// The parser below is not ours. The text came from outside, and a daemon must not die of it.
	defer func() {
		if r := recover(); r != nil {
			d.fault(1, 1, "found text that cannot be read as YAML (%v)", r)
			body, ok = nil, false
		}
	}()
	tokens := lexer.Tokenize(text)
	if !d.plain(tokens) {
		return nil, false
	}
	f, err := parser.Parse(tokens, 0, parser.AllowDuplicateMapKey())
	if err != nil {
		d.syntax(err)
		return nil, false
	}
	if len(f.Docs) > 1 {
		line, column := 1, 1
		if s := f.Docs[1].Start; s != nil {
			line, column = place(s)
		}
		d.fault(line, column, "found a second document, expected one")
		return nil, false
	}
	if len(f.Docs) == 0 {
		return nil, true
	}
	return f.Docs[0].Body, true
}

func (d *Doc) syntax(err error) {
	line, column, message := 1, 1, err.Error()
	if e, ok := errors.AsType[yaml.Error](err); ok {
		message = e.GetMessage()
		if t := e.GetToken(); t != nil {
			line, column = place(t)
		}
	}
	d.fault(line, column, "found text that is not YAML: %s", message)
}

// place is where a token stands; a token that the parser made up stands at the top.
func place(t *token.Token) (line, column int) {
	if t == nil || t.Position == nil {
		return 1, 1
	}
	return max(t.Position.Line, 1), max(t.Position.Column, 1)
}

func quote(s string) string { return fmt.Sprintf("%.60q", s) }
