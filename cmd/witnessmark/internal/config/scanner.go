package config

import (
	"slices"
	"strconv"
	"strings"

	"witnessmark/device/label"
	"witnessmark/device/port"
	"witnessmark/device/scanner"
	"witnessmark/device/strictyaml"
)

// Scanner is a barcode scanner at a bench.
type Scanner struct {
	ID     string
	Bench  string // id
	Port   string // as that of a wrench
	Mode   port.Mode
	Labels label.Forms
	Family string // of the engines at that bench whose labels name none; empty: the only one that the shop has
}

// scanners reads the scanners; c holds the benches and wrenches.
func (r reader) scanners(n strictyaml.Node, c *Config) []Scanner {
	var all []Scanner
	ids, ports := map[string]bool{}, map[string]string{}
	for _, w := range c.Wrenches {
		ports[w.Port] = "wrench " + w.Declared.Wrench
		ports[w.Find.Node] = "wrench " + w.Declared.Wrench
	}
	items, _ := n.List()
	for _, item := range items {
		m := item.Map("id", "bench", "port", "serial", "labels", "family")
		s := Scanner{ID: need(m, "id", unused("scanner", ids)), Bench: need(m, "bench", c.bench), Port: need(m, "port", line),
			Mode: scanner.Mode, Family: maybe(m, "family", line)}
		if other := ports[s.Port]; other != "" && s.Port != "" {
			at(m, "port").Faultf("port %s is already that of %s: give every device a port of its own", s.Port, other)
		}
		ports[s.Port] = "scanner " + s.ID
		if serial, ok := m.Get("serial"); ok {
			s.Mode = readMode(serial)
		}
		if s.Port != "" && s.Mode.Baud != 0 {
			if _, err := port.At(s.Port, s.Mode); err != nil {
				at(m, "port").Faultf("%v", err)
			}
		}
		if labels, ok := m.Need("labels"); ok {
			s.Labels = readLabels(labels)
		}
		all = append(all, s)
	}
	return all
}

// bench accepts the id of a bench that the file has.
func (c *Config) bench(id string) (string, string) {
	var ids []string
	for _, b := range c.Benches {
		if b.ID == id {
			return id, ""
		}
		ids = append(ids, b.ID)
	}
	return "", "expected one of the benches " + strings.Join(ids, ", ")
}

// readMode reads the settings of a serial port. One that is wrong leaves the speed at 0.
func readMode(n strictyaml.Node) port.Mode {
	m := n.Map("baud", "bits", "parity", "stop")
	return port.Mode{
		Baud:     need(m, "baud", number(50, 4_000_000)),
		DataBits: need(m, "bits", number(7, 8)),
		Parity:   need(m, "parity", oneOf("none", "odd", "even", "mark", "space")),
		StopBits: need(m, "stop", oneOf("1", "2")),
	}
}

// readLabels reads what labels look like, kind by kind; a kind has one form or a list of them.
func readLabels(n strictyaml.Node) label.Forms {
	var keys []string
	for _, k := range label.Kinds() {
		keys = append(keys, key(k))
	}
	m := n.Map(keys...)
	var all label.Forms
	for _, k := range label.Kinds() {
		f, ok := m.Get(key(k))
		if !ok {
			continue
		}
		forms := []strictyaml.Node{f}
		if f.IsList() {
			forms, _ = f.List()
		}
		for _, f := range forms {
			all = append(all, readForm(f, k, all))
		}
	}
	m.Need(key(label.Badge)) // without one nobody can sign in, and every other label is refused
	return all
}

// key is a kind of label as a key of the file.
func key(k label.Kind) string { return strings.ReplaceAll(string(k), " ", "_") }

// readForm reads one form of labels beside those that are there already.
func readForm(n strictyaml.Node, k label.Kind, others label.Forms) label.Form {
	allowed := []string{"prefix", "check"}
	if k == label.Engine {
		allowed = append(allowed, "family")
	}
	m := n.Map(allowed...)
	f := label.Form{Kind: k, Prefix: maybe(m, "prefix", line), Check: label.None, Family: maybe(m, "family", line)}
	if c := maybe(m, "check", oneOf(label.Checks()...)); c != "" {
		f.Check = c
	}
	if fault := f.Fault(); fault != "" {
		n.Faultf("found %s labels that nothing tells from others, %s", k, fault)
	}
	if i := slices.IndexFunc(others, func(o label.Form) bool { return o.Prefix == f.Prefix && o.Prefix != "" }); i >= 0 {
		at(m, "prefix").Faultf("found the prefix %q again, expected another: %s labels have it already", f.Prefix, others[i].Kind)
	}
	return f
}

func oneOf[S ~string](all ...S) value[S] {
	return func(text string) (S, string) {
		if slices.Contains(all, S(text)) {
			return S(text), ""
		}
		words := make([]string, len(all))
		for i, s := range all {
			words[i] = string(s)
		}
		return "", "expected one of " + strings.Join(words, ", ")
	}
}

func number(low, high int) value[int] {
	return func(text string) (int, string) {
		v, err := strconv.Atoi(text)
		if err != nil || v < low || v > high {
			return 0, "expected a number from " + strconv.Itoa(low) + " to " + strconv.Itoa(high)
		}
		return v, ""
	}
}
