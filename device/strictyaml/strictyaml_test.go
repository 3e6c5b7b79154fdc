package strictyaml_test

import (
	"strings"
	"testing"

	"witnessmark/device/strictyaml"
)

func TestDoc_FaultsAreTogetherWithTheirPlaces(t *testing.T) {
	d := strictyaml.Parse("f.yaml", []byte("a: 1\nb:\n  c: [x, {y: 2}]\n  z: 3\nb: 4\nq:\n"))
	m := d.Root().Map("a", "b", "w", "q")
	m.Need("w")
	b, _ := m.Get("b")
	bm := b.Map("c")
	c, _ := bm.Need("c")
	items, ok := c.List()
	if !ok || len(items) != 2 {
		t.Fatalf("got %d items, want 2", len(items))
	}
	if s, ok := items[0].Text(); !ok || s != "x" {
		t.Errorf("got %q, want x", s)
	}
	items[1].Text()
	q, _ := m.Get("q")
	q.Text()
	want := []string{
		`f.yaml:1:1: key "w" is missing`,
		`f.yaml:3:10: found a map, expected a single value`,
		`f.yaml:4:3: unknown key "z", expected one of: c`,
		`f.yaml:5:1: key "b" stands here a second time`,
		`f.yaml:6:4: found nothing, expected a value`,
	}
	if got := strings.Split(d.Err().Error(), "\n"); strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("got:\n%s\nwant:\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

func TestNode_TextIsAsWritten(t *testing.T) {
	m := strictyaml.Parse("f", []byte("a: 007\nb: \"10.9\"\nc: 1e3\nd: yes\ne: 0x1F\nf: 30 N·m\ng: |\n  two\n  lines\n")).Root().FreeMap()
	for k, want := range map[string]string{"a": "007", "b": "10.9", "c": "1e3", "d": "yes", "e": "0x1F", "f": "30 N·m", "g": "two\nlines\n"} {
		n, _ := m.Get(k)
		if got, ok := n.Text(); !ok || got != want {
			t.Errorf("%s: got %q, want %q", k, got, want)
		}
	}
}

func TestParse_RefusesWhole(t *testing.T) {
	for rule, c := range map[string]struct{ text, want string }{
		"an anchor":         {"a: &x 1\nb: *x\n", "f:1:4: anchors"},
		"two documents":     {"a: 1\n---\nb: 2\n", "documents"},
		"an empty file":     {"", "f: found 0 YAML documents"},
		"not UTF-8":         {"a: \xff\n", "not UTF-8"},
		"a NUL byte":        {"a: \x00\n", "NUL byte"},
		"a broken bracket":  {"a: [1, 2\nb: 3\n", "f:"},
		"an enormous file":  {strings.Repeat("# filler\n", 600_000), "at most"},
		"a tab for a space": {"a:\n\tb: 1\n", "not YAML"},
	} {
		t.Run(rule, func(t *testing.T) {
			d := strictyaml.Parse("f", []byte(c.text))
			d.Root().Map("a") // must not panic on what could not be read
			if err := d.Err(); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, want a fault with %q", err, c.want)
			}
		})
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"a: 1\n", "a: [1, {b: c}]\n", "- x\n- y\n", "a: &x 1\n", "? k\n: v\n", "a: |\n  t\n", "{", "\"", "<<: {a: 1}\n"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		d := strictyaml.Parse("f", text)
		walk(d.Root(), 0)
		_ = d.Err()
	})
}

func walk(n strictyaml.Node, depth int) {
	if depth > 50 {
		return
	}
	n.Text()
	if items, ok := n.List(); ok {
		for _, i := range items {
			walk(i, depth+1)
		}
	}
	m := n.FreeMap()
	for _, k := range m.Keys() {
		v, _ := m.Get(k)
		walk(v, depth+1)
	}
}
