// Package strictyaml reads the project's YAML files (procedures, wrench profiles, configurations, scripts) strictly:
// every fault is kept with its file, line and column, and a file is used whole or not at all.
package strictyaml

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
)

// maxFile bounds a file, in bytes.
const maxFile = 4 << 20

// Fault is one thing wrong with a file. Line and Column count from 1; both are 0 where the file as a whole is meant.
type Fault struct {
	File    string
	Line    int
	Column  int
	Message string
}

// Error gives the fault as file:line:column: message.
func (f Fault) Error() string {
	if f.Line == 0 {
		return f.File + ": " + f.Message
	}
	return fmt.Sprintf("%s:%d:%d: %s", f.File, f.Line, f.Column, f.Message)
}

// Faults are the faults of a file in the order of their places.
type Faults []Fault

// Error gives a fault a line.
func (f Faults) Error() string {
	lines := make([]string, len(f))
	for i := range f {
		lines[i] = f[i].Error()
	}
	return strings.Join(lines, "\n")
}

// Doc is a file being read.
type Doc struct {
	file   string
	root   ast.Node
	faults Faults
}

// Parse takes the text of a file apart. It never fails outright: what is wrong is found in Err.
func Parse(file string, text []byte) *Doc {
	d := &Doc{file: file}
	if why := unreadable(text); why != "" {
		d.Faultf("%s", why)
		return d
	}
	f, err := parser.ParseBytes(text, 0, parser.AllowDuplicateMapKey())
	if err != nil {
		d.syntax(err)
		return d
	}
	if len(f.Docs) != 1 || f.Docs[0].Body == nil {
		d.Faultf("found %d YAML documents with content, expected one", len(f.Docs)-boolInt(len(f.Docs) == 1))
		return d
	}
	d.root = f.Docs[0].Body
	d.refuseReferences()
	return d
}

func boolInt(b bool) int {
	if b {
		return 1
	}
	return 0
}

func unreadable(text []byte) string {
	switch {
	case len(text) > maxFile:
		return fmt.Sprintf("the file has %d bytes, at most %d are read: is it the right file?", len(text), maxFile)
	case !utf8.Valid(text):
		return "the file is not UTF-8 text: save it as UTF-8"
	case bytes.IndexByte(text, 0) >= 0:
		return "the file holds a NUL byte: is it a text file?"
	}
	return ""
}

func (d *Doc) syntax(err error) {
	var se *yaml.SyntaxError
	if errors.As(err, &se) && se.Token != nil && se.Token.Position != nil {
		p := se.Token.Position
		d.faults = append(d.faults, Fault{d.file, p.Line, p.Column, "not YAML: " + se.Message})
		return
	}
	d.Faultf("not YAML: %s", strings.SplitN(err.Error(), "\n", 2)[0])
}

// refuseReferences faults anchors, aliases, tags and merge keys: what a file says must stand where it is read.
func (d *Doc) refuseReferences() {
	ast.Walk(visit(func(n ast.Node) {
		switch n.(type) {
		case *ast.AnchorNode, *ast.AliasNode, *ast.TagNode, *ast.MergeKeyNode:
			Node{d, n}.Faultf("anchors, aliases, tags and merge keys are not allowed: write the value out")
		}
	}), d.root)
	if len(d.faults) > 0 {
		d.root = nil
	}
}

type visit func(ast.Node)

// Visit implements ast.Visitor.
func (v visit) Visit(n ast.Node) ast.Visitor {
	v(n)
	return v
}

// Root is the outermost node; where the file could not be read at all, an empty one that raises no further faults.
func (d *Doc) Root() Node { return Node{d, d.root} }

// Faultf adds a fault of the file as a whole.
func (d *Doc) Faultf(format string, args ...any) {
	d.faults = append(d.faults, Fault{File: d.file, Message: fmt.Sprintf(format, args...)})
}

// Err is nil or the Faults found so far, sorted by place.
func (d *Doc) Err() error {
	if len(d.faults) == 0 {
		return nil
	}
	slices.SortStableFunc(d.faults, func(a, b Fault) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	return d.faults
}
