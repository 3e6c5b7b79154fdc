package export

import (
	"strings"
	"unicode"
)

// harmless makes a text that no spreadsheet takes for a formula: where it begins with a sign that opens one, an apostrophe
// is put in front. The signs are those of OWASP, "CSV Injection", with their full-width forms; blanks before them change
// nothing, for some programs drop blanks. Control characters are shown as their symbols, tabs and line ends too: a reading
// stays one line.
func harmless(text string) string {
	text = strings.Map(visible, text)
	begin := strings.TrimLeft(text, " \u00a0")
	if begin != "" && strings.ContainsRune("=+-@＝＋－＠", []rune(begin)[0]) {
		return "'" + text
	}
	return text
}

// visible gives a control character its symbol.
func visible(r rune) rune {
	switch {
	case r < ' ':
		return '␀' + r
	case r == 0x7f:
		return '␡'
	case r == unicode.ReplacementChar || r == '\ufffe' || r == '\uffff':
		return unicode.ReplacementChar
	}
	return r
}
