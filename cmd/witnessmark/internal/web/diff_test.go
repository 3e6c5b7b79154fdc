package web

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestChanges(t *testing.T) {
	lines := func(text string) string { return strings.ReplaceAll(text, " ", "\n") }
	for rule, c := range map[string]struct{ old, now, want string }{
		"one line":          {"a b c", "a x c", "=a -b +x =c"},
		"an added one":      {"a c", "a b c", "=a +b =c"},
		"at the end":        {"a", "a b", "=a +b"},
		"far from the rest": {"a b c d e f g h", "a b c d e f g x", "…5 =f =g -h +x"},
		"two far apart":     {"1 a b c d e f g 2", "3 a b c d e f g 4", "-1 +3 =a =b …3 =f =g -2 +4"},
	} {
		var got []string
		for _, ch := range changes(lines(c.old), lines(c.now)) {
			sign := map[string]string{"same": "=", "removed": "-", "added": "+"}[ch.Kind]
			if ch.Kind == "gap" {
				sign, ch.Text = "…", string(rune('0'+ch.N))
			}
			got = append(got, sign+ch.Text)
		}
		if text := strings.Join(got, " "); text != c.want {
			t.Errorf("%s: got %q, want %q", rule, text, c.want)
		}
	}
}

// What is removed and added accounts for the difference in lines, and every line of the new text that is shown is one of it.
func TestChanges_LoseNothing(t *testing.T) {
	text := rapid.Custom(func(t *rapid.T) string {
		return strings.Join(rapid.SliceOfN(rapid.SampledFrom([]string{"a", "b", "c", ""}), 1, 30).Draw(t, "lines"), "\n")
	})
	rapid.Check(t, func(t *rapid.T) {
		old, now := text.Draw(t, "old"), text.Draw(t, "now")
		if old == now {
			t.Skip("the same text")
		}
		was, is := 0, 0
		for _, c := range changes(old, now) {
			switch c.Kind {
			case "removed":
				was++
			case "added":
				is++
			case "gap":
				was, is = was+c.N, is+c.N
			default:
				was, is = was+1, is+1
			}
		}
		if was != 1+strings.Count(old, "\n") || is != 1+strings.Count(now, "\n") {
			t.Fatalf("got %d and %d lines of\n%s\nand\n%s", was, is, old, now)
		}
	})
}
