package profile

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"witnessmark/device/strictyaml"
)

// What stands here reads one value each, faults what is wrong with it, and gives the zero value then.

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

// none faults keys that have no meaning here.
func none(m strictyaml.Map, because string, keys ...string) {
	for _, key := range keys {
		if n, ok := m.Key(key); ok {
			n.Faultf("found %s, expected none: %s", key, because)
		}
	}
}

func line(n strictyaml.Node) string {
	s, ok := n.Text()
	if ok && (strings.TrimSpace(s) == "" || len(s) > 200 || strings.ContainsAny(s, "\r\n")) {
		n.Faultf("found %.60q, expected one line of text", s)
	}
	return s
}

// short reads a few characters that stand on the wire.
func short(n strictyaml.Node) []byte {
	s, ok := n.Text()
	if !ok {
		return nil
	}
	b, err := wireBytes(s)
	switch {
	case strings.Contains(s, "<") && err != nil:
		n.Faultf("%v", err)
		return nil
	case err != nil || len(b) == 0 || len(b) > 16 || !plainASCII(s):
		n.Faultf("found %.60q, expected 1 to 16 ASCII characters; control characters by name, such as <STX>", s)
		return nil
	}
	return b
}

// plainASCII tells text in which every byte beyond ASCII is written in hexadecimal digits.
func plainASCII(s string) bool { return !strings.ContainsFunc(s, func(r rune) bool { return r > '~' }) }

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

// duration reads a decimal number with ms or s.
func duration(low, high time.Duration) func(strictyaml.Node) time.Duration {
	return func(n strictyaml.Node) time.Duration {
		s, ok := n.Text()
		if !ok {
			return 0
		}
		d, ok := readDuration(s)
		if !ok || d < low || d > high {
			n.Faultf("found %.60q, expected a time from %s to %s, such as 250 ms or 2 s", s, inWords(low), inWords(high))
			return low
		}
		return d
	}
}

func readDuration(s string) (time.Duration, bool) {
	end := strings.IndexFunc(s, func(r rune) bool { return (r < '0' || r > '9') && r != '.' })
	if end < 1 {
		return 0, false
	}
	worth := strings.TrimPrefix(s[end:], " ")
	if worth != "ms" && worth != "s" {
		return 0, false
	}
	d, err := time.ParseDuration(s[:end] + worth)
	return d, err == nil
}

func inWords(d time.Duration) string {
	if d%time.Second == 0 {
		return strconv.Itoa(int(d/time.Second)) + " s"
	}
	return strconv.Itoa(int(d/time.Millisecond)) + " ms"
}

func truth(n strictyaml.Node) bool { return oneOf(n, "true", "false") == "true" }

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
