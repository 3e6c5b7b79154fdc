package procedure

import (
	"fmt"
	"strconv"
	"strings"

	"witnessmark/audit/adapter"
	"witnessmark/device/strictyaml"
)

// Format is the first line of every procedure file of this version.
const Format = "witnessmark/procedure/1"

// Limits beyond which a file is no procedure that people follow; they bound the work that a file can cause.
const (
	maxFasteners = 400
	maxStages    = 40
	maxChecks    = 100
	maxJoints    = 200
	maxIdent     = 64
	maxLine      = 300
)

// Parse reads a procedure file; file is the name that faults carry. The error is strictyaml.Faults: all faults at
// once, each with its place, what was found and what was expected. A file with a fault gives no procedure at all.
//
// Every fastener is reached by some stage, every reference is resolved, every target lies inside its window, and
// overrides are merged onto the figures of their stage. That a class A joint needs two quantities measured (VDI/VDE
// 2862) is no matter of the file: its stages may be without a monitoring window, and the judge asks the wrench for
// the angle all the same.
func Parse(file string, text []byte) (*Procedure, error) {
	doc := strictyaml.Parse(file, text)
	p := read(doc.Root())
	if err := doc.Err(); err != nil {
		return nil, err
	}
	return p, nil
}

func read(root strictyaml.Node) *Procedure {
	m := root.Map("format", "family", "revision", "title", "source", "decision", "wrench", "fastener_types", "adapters", "joints")
	oneOf(need(m, "format"), Format)
	p := &Procedure{
		Family:   ident(need(m, "family")),
		Revision: ident(need(m, "revision")),
		Title:    line(need(m, "title")),
		Source:   line(need(m, "source")),
		Decision: Decision(oneOf(need(m, "decision"), string(Simple), string(Guarded))),
		Types:    map[string]FastenerType{},
		Adapters: map[string]adapter.Adapter{},
	}
	if n, ok := m.Get("wrench"); ok {
		p.Wrench = readWrenchRules(n)
	}
	if n, ok := m.Get("fastener_types"); ok {
		readTypes(n, p.Types)
	}
	if n, ok := m.Get("adapters"); ok {
		readAdapters(n, p.Adapters)
	}
	items := list(need(m, "joints"), "joint", maxJoints)
	ids := names{}
	for _, n := range items {
		p.Joints = append(p.Joints, readJoint(n, ids, p))
	}
	return p
}

func readTypes(n strictyaml.Node, types map[string]FastenerType) {
	m := n.FreeMap()
	for _, name := range m.Keys() {
		key, _ := m.Key(name)
		ident(key)
		v, _ := m.Get(name)
		types[name] = readType(v)
	}
}

func readType(n strictyaml.Node) FastenerType {
	m := n.Map("thread", "length", "class", "reuse", "lubrication")
	t := FastenerType{
		Thread:      line(need(m, "thread")),
		Class:       optional(m, "class"),
		Reuse:       optional(m, "reuse"),
		Lubrication: optional(m, "lubrication"),
	}
	if l, ok := m.Get("length"); ok {
		t.Length = boltLength(l)
	}
	if r, ok := m.Get("reuse"); ok && t.Reuse != "" && t.Reuse != "never" && t.Reuse != "always" {
		if n, err := strconv.Atoi(t.Reuse); err != nil || n < 1 || n > 1000 || strconv.Itoa(n) != t.Reuse {
			r.Faultf("found %s, expected never, always, or the number of torque cycles in a bolt's life, 1 to 1000", quote(t.Reuse))
		}
	}
	return t
}

func need(m strictyaml.Map, key string) strictyaml.Node {
	n, _ := m.Need(key)
	return n
}

func optional(m strictyaml.Map, key string) string {
	if n, ok := m.Get(key); ok {
		return line(n)
	}
	return ""
}

// line reads one line of text.
func line(n strictyaml.Node) string {
	s, ok := n.Text()
	switch {
	case !ok:
		return ""
	case strings.TrimSpace(s) == "" || strings.ContainsAny(s, "\r\n"):
		n.Faultf("found %s, expected one line of text", quote(s))
	case len(s) > maxLine:
		n.Faultf("found a text of %d bytes, expected at most %d", len(s), maxLine)
	}
	return s
}

// ident reads an id: it stands in file names, addresses and metrics, so it has few characters.
func ident(n strictyaml.Node) string {
	const letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_."
	s, ok := n.Text()
	if ok && (s == "" || len(s) > maxIdent || strings.Trim(s, letters) != "" || strings.Trim(s, ".") == "") {
		n.Faultf("found %s, expected 1 to %d letters, digits, '-', '_' or '.'", quote(s), maxIdent)
	}
	return s
}

// oneOf reads one of a few words.
func oneOf(n strictyaml.Node, words ...string) string {
	s, ok := n.Text()
	if !ok {
		return ""
	}
	for _, w := range words {
		if s == w {
			return s
		}
	}
	n.Faultf("found %s, expected %s", quote(s), choice(words))
	return ""
}

// list reads the items of a list that may not be empty.
func list(n strictyaml.Node, what string, most int) []strictyaml.Node {
	items, ok := n.List()
	switch {
	case ok && len(items) == 0:
		n.Faultf("found no %s, expected at least one", what)
	case len(items) > most:
		n.Faultf("found %d %ss, expected at most %d", len(items), what, most)
		return nil
	}
	return items
}

// names are ids in use, with the index of what they name.
type names map[string]int

// take reads an id that nothing else of its sort has.
func (all names) take(n strictyaml.Node, what string) string {
	id := ident(n)
	if id == "" {
		return ""
	}
	if _, taken := all[id]; taken {
		n.Faultf("found the id %s again, expected one that no other %s has", quote(id), what)
		return id
	}
	all[id] = len(all)
	return id
}

func choice(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	last := len(words) - 1
	return strings.Join(words[:last], ", ") + " or " + words[last]
}

func quote(s string) string { return fmt.Sprintf("%.60q", s) }
