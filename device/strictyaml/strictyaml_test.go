package strictyaml

import (
	"fmt"
	"strings"
	"testing"
)

// faults is what Err tells after reading, a line for each.
func faults(d *Doc) string {
	if err := d.Err(); err != nil {
		return err.Error()
	}
	return ""
}

func TestParse_Refused(t *testing.T) {
	deep := strings.Repeat("[", 40) + strings.Repeat("]", 40)
	cases := map[string]struct{ text, want string }{
		"a syntax error has its place":           {"a: 1\nb: [1, 2\n", "f:2:4: found text that is not YAML: sequence end token ']' not found"},
		"a reserved character":                   {"a: 1\nb: @x\n", "f:2:4: found text that is not YAML: '@' is a reserved character"},
		"an anchor and its alias":                {"a: &x 1\nb: *x\n", "f:1:4: found an anchor (\"&\"), expected every value written out\nf:2:4: found an alias (\"*\"), expected every value written out"},
		"a merge key":                            {"a:\n  <<: {b: 1}\n", "f:2:3: found a merge key (\"<<\"), expected every value written out"},
		"a tag":                                  {"a: !!str 1\n", "f:1:4: found a tag (\"!!str\"), expected every value written out"},
		"a directive":                            {"%YAML 1.2\n---\na: 1\n", "f:1:1: found a directive (\"%\"), expected every value written out"},
		"a second document":                      {"a: 1\n---\nb: 1\n", "f:2:1: found a second document, expected one"},
		"bytes that are not UTF-8":               {"a: 1\nü: \xe4\n", "f:2:4: found the byte 0xe4, expected text in UTF-8"},
		"a NUL":                                  {"a: 1\nb: x\x00\n", "f:2:5: found the control character U+0000, expected text"},
		"an escaped NUL":                         {"a: \"x\\0\"\n", "f:1:4: found an escaped control character in \"x\\x00\", expected text"},
		"too large":                              {strings.Repeat("#", MaxBytes+1), "f:1:1: found 4194305 bytes, expected a file of at most 4194304"},
		"too deep in brackets":                   {"a: " + deep, "f:1:36: found more than 32 levels of lists and maps, expected fewer"},
		"too deep in dashes":                     {strings.Repeat("- ", 40) + "x", "f:1:65: found more than 32 levels of lists and maps, expected fewer"},
		"too long":                               {strings.Repeat("- 1\n", 60_000), "f:50001:1: found more than 100000 words and marks, expected a shorter file"},
		"a list as a key":                        {"{[a]: 1}\n", "f:1:5: found text that is not YAML: found an invalid key for this map"},
		"the place counts characters, not bytes": {"ü: {é: *x}\n", "f:1:8: found an alias (\"*\"), expected every value written out"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			d := Parse("f", []byte(c.text))
			d.Root().Map("x").Need("y")
			if got := faults(d); got != c.want {
				t.Errorf("got  %s\nwant %s", got, c.want)
			}
		})
	}
}

func TestMap_Faults(t *testing.T) {
	cases := map[string]struct{ text, want string }{
		"an unknown key names the expected ones": {"name: x\nc: 1\n", "f:2:1: found the unknown key \"c\", expected name, list or map"},
		"a key that stands twice":                {"name: x\nname: y\n", "f:2:1: found the key \"name\" again, expected it once; it stands in line 1 already"},
		"a missing key":                          {"# head\n\nlist: []\n", "f:3:1: found no key \"name\", expected it here"},
		"an empty file":                          {"# only a comment\n", "f:1:1: found nothing, expected a map with name, list or map"},
		"a list for a map":                       {"- a\n", "f:1:1: found a list, expected a map with name, list or map"},
		"text for a map":                         {"hello", "f:1:1: found the text \"hello\", expected a map with name, list or map"},
		"a map for text":                         {"name: {a: 1}\n", "f:1:7: found a map, expected text"},
		"nothing for text":                       {"list: []\nname:\n", "f:2:5: found nothing, expected text"},
		"null for text":                          {"name: ~\n", "f:1:7: found nothing, expected text"},
		"text for a list":                        {"name: x\nlist: a, b\n", "f:2:7: found the text \"a, b\", expected a list"},
		"a map for a list":                       {"name: x\nlist:\n  a: 1\n", "f:3:3: found a map, expected a list"},
		"all of them at once, by place": {"list: 7\nzero: 0\nname: [1]\nmap: 1\n",
			"f:1:7: found the text \"7\", expected a list\nf:2:1: found the unknown key \"zero\", expected name, list or map\nf:3:7: found a list, expected text\nf:4:6: found the text \"1\", expected a map"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			d := Parse("f", []byte(c.text))
			for range 2 { // a second reading adds no second fault
				m := d.Root().Map("name", "list", "map")
				if n, ok := m.Get("map"); ok {
					n.FreeMap()
				}
				if n, ok := m.Get("list"); ok {
					n.List()
				}
				n, _ := m.Need("name")
				n.Text()
			}
			if got := faults(d); got != c.want {
				t.Errorf("got  %s\nwant %s", got, c.want)
			}
		})
	}
}

func TestNode_Text(t *testing.T) {
	d := Parse("f", []byte("\ufeff---\r\nhex: 0x1F\r\nthousand: 1_000\r\nyes: yes\r\nno: false\r\n'4': \"4\"\r\nseven: 007\r\n? told\r\n: it's\r\n"+
		"both: 'it''s'\r\ntab: \"a\\tb\"\r\ntorque: ±5 % # of 60\r\nlast: .inf\r\n"))
	m := d.Root().FreeMap()
	want := "hex=0x1F thousand=1_000 yes=yes no=false 4=4 seven=007 told=it's both=it's tab=a\tb torque=±5 % last=.inf"
	var got []string
	for _, key := range m.Keys() {
		n, _ := m.Get(key)
		s, ok := n.Text()
		if !ok {
			t.Errorf("%s: got no text", key)
		}
		got = append(got, key+"="+s)
	}
	if got := strings.Join(got, " "); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	if err := d.Err(); err != nil {
		t.Error(err)
	}
}

func TestNode_List(t *testing.T) {
	d := Parse("f", []byte("- a\n-\n- {b: 1}\n- \n  - c\n- |\n  two\n  lines\n"))
	items, ok := d.Root().List()
	var got []string
	for _, n := range items {
		line, column := n.Pos()
		got = append(got, fmt.Sprintf("%s %d:%d", n.kind, line, column))
	}
	want := "text 1:3, nothing 2:2, a map 3:3, a list 5:3, text 6:3"
	if got := strings.Join(got, ", "); !ok || got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	if s, ok := items[4].Text(); s != "two\nlines\n" || !ok {
		t.Errorf("block text: got %q, want its two lines", s)
	}
}

func TestNode_Missing(t *testing.T) {
	d := Parse("f", []byte("a:\n  b: 1\n"))
	a, _ := d.Root().Map("a").Get("a")
	n, ok := a.Map("b").Get("c")
	n.Text()
	n.List()
	n.Map("x").Need("x")
	if ok || d.Err() != nil {
		t.Errorf("reading a missing key: got %v, %v, want no faults", ok, d.Err())
	}
	n.Faultf("found %d", 1)
	Node{}.Faultf("lost")
	if got, want := faults(d), "f:2:3: found 1"; got != want {
		t.Errorf("got %s, want %s: a fault of a missing key stands where its map does", got, want)
	}
	d.Faultf("all of it")
	if got, want := faults(d), "f:1:1: all of it\nf:2:3: found 1"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

func TestDoc_ManyFaults(t *testing.T) {
	var text strings.Builder
	for i := range 1500 {
		fmt.Fprintf(&text, "k%d: 1\n", i)
	}
	d := Parse("f", []byte(text.String()))
	d.Root().Map("a")
	all := d.Err().(Faults)
	if len(all) != 1001 || all[1000].Message != "and 500 more faults" {
		t.Errorf("got %d faults, the last %s, want 1000 and a count of the rest", len(all), all[len(all)-1])
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"a: 1\nb: {x: [1, 2], y: 'ü'}\n", "? a\n: - b\n  - c", "a: &x 1\n---\n*x", "a: |\n  x\n", "- - -\n", "{a, b: }", "\"\\0\"", "%x", "a: \"b"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		d := Parse("f", text)
		walk(d.Root(), t)
		_ = faults(d)
	})
}

// walk reads every node in every way.
func walk(n Node, t *testing.T) {
	if line, column := n.Pos(); line < 1 || column < 1 {
		t.Errorf("got place %d:%d, want one counted from 1", line, column)
	}
	n.Text()
	n.Map("a").Need("b")
	m := n.FreeMap()
	for _, key := range m.Keys() {
		v, _ := m.Get(key)
		walk(v, t)
	}
	items, _ := n.List()
	for _, v := range items {
		walk(v, t)
	}
}

func TestParse_Limits(t *testing.T) {
	for name, text := range map[string]string{
		"a file of the largest size": "a: 1\n" + strings.Repeat("#", MaxBytes-5),
		"a long list is not deep":    strings.Repeat("- 1\n", 100),
		"as many tokens as may be":   strings.Repeat("- 1\n", maxTokens/2),
		"as deep as may be":          strings.Repeat("[", maxDepth) + strings.Repeat("]", maxDepth),
	} {
		t.Run(name, func(t *testing.T) {
			if err := Parse("f", []byte(text)).Err(); err != nil {
				t.Errorf("got %v, want no fault", err)
			}
		})
	}
}

func TestMap_FirstOfTwo(t *testing.T) {
	m := Parse("f", []byte("a: 1\nb: [x]\na: 2\n")).Root().FreeMap()
	if got := strings.Join(m.Keys(), " "); got != "a b" {
		t.Errorf("keys: got %s, want a b", got)
	}
	a, _ := m.Get("a")
	if s, _ := a.Text(); s != "1" {
		t.Errorf("a: got %s, want the first value, 1", s)
	}
	b, _ := m.Get("b")
	if a.IsList() || !b.IsList() {
		t.Errorf("got list %t for a and %t for b, want b alone", a.IsList(), b.IsList())
	}
	key, ok := m.Key("b")
	if line, column := key.Pos(); !ok || line != 2 || column != 1 {
		t.Errorf("key b: got %t at %d:%d, want it at 2:1", ok, line, column)
	}
	if _, ok := m.Key("c"); ok {
		t.Error("key c: got one, want none")
	}
}
