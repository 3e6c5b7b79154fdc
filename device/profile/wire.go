package profile

import (
	"fmt"
	"strconv"
	"strings"
)

// controlNames are the control characters of ISO 646 in their order, as a file names them: it holds none itself.
// Form feed is left out: <FF> is the byte FF, form feed is <0C>.
var controlNames = strings.Fields("NUL SOH STX ETX EOT ENQ ACK BEL BS TAB LF VT - CR SO SI DLE DC1 DC2 DC3 DC4 NAK SYN ETB CAN EM SUB ESC FS GS RS US")

// wireBytes reads text that stands on the wire: printable characters as they are, tabs, and in angle brackets the
// name of a control character or two hexadecimal digits of any byte. A < itself is written <3C>.
func wireBytes(text string) ([]byte, error) {
	var b []byte
	for len(text) > 0 {
		c := text[0]
		switch {
		case c == '<':
			name, rest, closed := strings.Cut(text[1:], ">")
			v, ok := wireByte(name)
			if !closed || !ok {
				return nil, fmt.Errorf("found %.20q, expected the name of a control character or two hexadecimal digits in angle brackets, such as <STX> or <A5>; a < itself is <3C>", text)
			}
			b, text = append(b, v), rest
			continue
		case c < ' ' && c != '\t' || c == 0x7f:
			return nil, fmt.Errorf("found the control character %02X, expected it by name, such as <CR>", c)
		}
		b, text = append(b, c), text[1:]
	}
	return b, nil
}

func wireByte(name string) (byte, bool) {
	for i, n := range controlNames {
		if n == name && n != "-" {
			return byte(i), true
		}
	}
	v, err := strconv.ParseUint(name, 16, 8)
	return byte(v), err == nil && len(name) == 2
}

// wireText is the inverse, for people: what cannot be printed is written by name.
func wireText(b []byte) string {
	var s strings.Builder
	for _, c := range b {
		switch {
		case int(c) < len(controlNames) && controlNames[c] != "-":
			s.WriteString("<" + controlNames[c] + ">")
		case c < ' ' || c > '~' || c == '<':
			fmt.Fprintf(&s, "<%02X>", c)
		default:
			s.WriteByte(c)
		}
	}
	return s.String()
}

// onlyNames tells text that is names of control characters without their brackets, such as ETX or LFCR: nobody means
// these letters.
func onlyNames(text string) bool {
	for _, n := range controlNames {
		if rest, ok := strings.CutPrefix(text, n); ok && n != "-" && (rest == "" || onlyNames(rest)) {
			return true
		}
	}
	return false
}
