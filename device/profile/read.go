package profile

import (
	"slices"
	"strconv"
	"strings"

	"witnessmark/device"
	"witnessmark/device/frame"
	"witnessmark/device/strictyaml"
)

// Format is the first line of every profile file of this version.
const Format = "witnessmark/wrench/1"

// Parse reads a profile file; file is only the name that faults carry. The error is a strictyaml.Faults with every
// fault of the file at its line and column.
func Parse(file string, text []byte) (*Profile, error) {
	doc := strictyaml.Parse(file, text)
	m := doc.Root().Map("format", "name", "version", "title", "serial", "frame", "check", "fields", "ignore", "ack")
	if n, ok := m.Need("format"); ok {
		oneOf(n, Format)
	}
	p := &Profile{Name: readName(m), Version: need(m, "version", line), Title: maybe(m, "title", "", line)}
	if n, ok := m.Need("serial"); ok {
		p.mode = readMode(n)
	}
	if n, ok := m.Need("frame"); ok {
		p.end, p.longest = readFrame(n)
	}
	p.check.kind = checkNone
	if n, ok := m.Get("check"); ok {
		p.check = readCheck(n)
	}
	if n, ok := m.Need("fields"); ok {
		p.lead, p.fields = readFields(n)
	}
	if n, ok := m.Get("ignore"); ok {
		p.ignore = readIgnore(n, p.lead)
	}
	if n, ok := m.Get("ack"); ok {
		p.ack = readAck(n, p.fields)
	}
	p.spokenBy = p.Name + " " + p.Version
	if err := doc.Err(); err != nil {
		return nil, err
	}
	return p, nil
}

func readName(m strictyaml.Map) string {
	return need(m, "name", func(n strictyaml.Node) string {
		name := line(n)
		if strings.Trim(name, "abcdefghijklmnopqrstuvwxyz0123456789-") != "" || len(name) > 40 {
			n.Faultf("found the name %.60q, expected at most 40 of a to z, 0 to 9 and -", name)
		}
		return name
	})
}

func readMode(n strictyaml.Node) Mode {
	m := n.Map("baud", "bits", "parity", "stop")
	return Mode{
		Baud:     need(m, "baud", between(110, 4_000_000)),
		DataBits: need(m, "bits", between(7, 8)),
		Parity:   need(m, "parity", choose("none", "odd", "even", "mark", "space")),
		StopBits: need(m, "stop", choose("1", "1.5", "2")),
	}
}

func readFrame(n strictyaml.Node) (frame.Ending, int) {
	m := n.Map("end", "max")
	return need(m, "end", choose(frame.Endings()...)), need(m, "max", between(8, device.MaxRaw))
}

func readCheck(n strictyaml.Node) check {
	m := n.Map("kind", "over", "mark")
	c := check{kind: need(m, "kind", choose(checkNone, checkXor, checkSum))}
	if c.kind != checkNone {
		c.over = need(m, "over", choose(spanInside, spanThrough, spanLine))
		c.mark = maybe(m, "mark", "", short)
		return c
	}
	for _, key := range []string{"over", "mark"} {
		if at, ok := m.Get(key); ok {
			at.Faultf("found %s, expected none: there is no check", key)
		}
	}
	return c
}

// readIgnore reads how the lines begin that are no readings.
func readIgnore(n strictyaml.Node, lead string) (prefixes []string) {
	items, _ := n.List()
	for _, item := range items {
		prefix := short(item)
		if prefix != "" && strings.HasPrefix(lead, prefix) {
			item.Faultf("found %q, expected a beginning that no reading has", prefix)
		}
		prefixes = append(prefixes, prefix)
	}
	return prefixes
}

// What follows reads one value each, faults what is wrong with it, and gives the zero value then.

func need[V any](m strictyaml.Map, key string, read func(strictyaml.Node) V) (v V) {
	if n, ok := m.Need(key); ok {
		v = read(n)
	}
	return v
}

func maybe[V any](m strictyaml.Map, key string, otherwise V, read func(strictyaml.Node) V) V {
	if n, ok := m.Get(key); ok {
		return read(n)
	}
	return otherwise
}

func line(n strictyaml.Node) string {
	s, ok := n.Text()
	if ok && (strings.TrimSpace(s) == "" || len(s) > 200 || strings.ContainsAny(s, "\r\n")) {
		n.Faultf("found %.60q, expected one line of text", s)
	}
	return s
}

// short reads a few characters that stand on the wire.
func short(n strictyaml.Node) string {
	s, ok := n.Text()
	s = controls.Replace(s)
	if ok && (s == "" || len(s) > 16 || !onWire(s)) {
		n.Faultf("found %.60q, expected 1 to 16 ASCII characters; control characters by name, such as <STX>", s)
	}
	return s
}

// controls are the control characters that a file names, after ISO 646 and TAB: the file itself holds none.
var controls = strings.NewReplacer("<SOH>", "\x01", "<STX>", "\x02", "<ETX>", "\x03", "<EOT>", "\x04", "<ENQ>", "\x05",
	"<ACK>", "\x06", "<TAB>", "\t", "<NAK>", "\x15", "<ESC>", "\x1b")

func onWire(s string) bool {
	for _, c := range []byte(s) {
		if c == '\r' || c == '\n' || c > '~' {
			return false
		}
	}
	return true
}

func between(low, high int) func(strictyaml.Node) int {
	return func(n strictyaml.Node) int {
		s, ok := n.Text()
		v, err := strconv.Atoi(s)
		if ok && (err != nil || v < low || v > high) {
			n.Faultf("found %.60q, expected a number from %d to %d", s, low, high)
		}
		return v
	}
}

func choose[S ~string](all ...S) func(strictyaml.Node) S {
	return func(n strictyaml.Node) S { return oneOf(n, all...) }
}

func oneOf[S ~string](n strictyaml.Node, all ...S) S {
	s, ok := n.Text()
	if ok && !slices.Contains(all, S(s)) {
		n.Faultf("found %.60q, expected %s", s, either(all))
	}
	return S(s)
}

func either[S ~string](all []S) string {
	var b strings.Builder
	for i, s := range all {
		switch {
		case i > 0 && i == len(all)-1:
			b.WriteString(" or ")
		case i > 0:
			b.WriteString(", ")
		}
		b.WriteString(string(s))
	}
	return b.String()
}
