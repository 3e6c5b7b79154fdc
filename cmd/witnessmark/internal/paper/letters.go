package paper

import (
	"fmt"
	"strings"
	"sync"

	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/text/unicode/norm"
)

// The faces, all of one family that holds Latin, Greek and Cyrillic letters.
const (
	regular = ""
	bold    = "B"
	mono    = "mono"
)

var faces = map[string][]byte{regular: goregular.TTF, bold: gobold.TTF, mono: gomono.TTF}

// printed is the letters that every face holds.
var printed = sync.OnceValue(func() map[rune]bool {
	all := map[rune]bool{}
	count := map[rune]int{}
	for _, ttf := range faces {
		font, err := sfnt.Parse(ttf)
		if err != nil {
			continue // it then holds no letter at all, which a test would see
		}
		var b sfnt.Buffer
		for r := ' '; r <= 0xFFFF; r++ {
			if g, err := font.GlyphIndex(&b, r); err == nil && g != 0 {
				count[r]++
			}
		}
	}
	for r, n := range count {
		all[r] = n == len(faces)
	}
	return all
})

// alike are letters that have no form of their own here and lose nothing by another's.
var alike = strings.NewReplacer("\u2010", "-", "\u2011", "-", "\u00a0", " ", "\u202f", " ", "\u2009", " ", "\n", " ", "\r", " ", "\t", " ")

// letters makes a text printable: what the faces do not hold stands as its Unicode numbers, e.g. ‹U+5C71 U+7530›. It tells
// whether there was any.
func letters(text string) (_ string, strange bool) {
	var b strings.Builder
	var odd []string
	flush := func() {
		if len(odd) > 0 {
			fmt.Fprintf(&b, "‹%s›", strings.Join(odd, " "))
			odd, strange = nil, true
		}
	}
	for _, r := range norm.NFC.String(alike.Replace(text)) {
		if !printed()[r] {
			odd = append(odd, fmt.Sprintf("%U", r))
			continue
		}
		flush()
		b.WriteRune(r)
	}
	flush()
	return b.String(), strange
}
