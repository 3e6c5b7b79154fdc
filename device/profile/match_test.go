package profile

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// agrees says what the matcher finds where the library finds something else; empty: they agree.
func agrees(p *pattern, line string) string {
	a := attempt{line: []byte(line)}
	fits, sure := p.quick.fit(&a)
	if !sure {
		return ""
	}
	want := p.sure.FindSubmatchIndex([]byte(line))
	if fits != (want != nil) {
		return "fits only one of them"
	}
	for i := 2; i < len(want); i++ {
		if int(a.captures[i]) != want[i] {
			return "another group"
		}
	}
	return ""
}

func TestMatcher_FindsWhatTheLibraryFinds(t *testing.T) {
	lines := []string{"", "a", "ab", "aab", "aabb", "abab", "12.5 Nm", "12.5Nm", " 12", "-1", "T=12.5", "été", "\xff", "a\nb", "A", "ab "}
	for _, text := range []string{
		"", "a", "a|ab", "(a|ab)(b?)", "(a*)(a*)b*", "(a*?)(a*)b*", "(a|b)*", "((a)|b)*", "(a*)*", "(a*)+b", `(\d+)(?:\.(\d+))? ?(Nm)?`,
		`(-?\d+)`, `T=(?P<torque>[0-9.]+)`, "(?i)AB", `\b(\w+)\b\W*`, "(?s).*", ".*", "(.)(.)?", `[^a]`, "é.é", `a$|ab^`, `(?m)^a$\n^b$`, `a{2}b{1,2}`,
		`\x{ff}`, "()", `\Ba`, "a*?b??",
	} {
		p, err := newPattern(text)
		if err != nil {
			t.Fatalf("%s: %v", text, err)
		}
		for _, line := range lines {
			if why := agrees(p, line); why != "" {
				t.Errorf("%s on %q: %s", text, line, why)
			}
		}
	}
}

func TestMatcher_FindsWhatTheLibraryFindsAtRandom(t *testing.T) {
	part := rapid.SampledFrom([]string{"a", "b", ".", "[ab]", "[^a]", "(a|b)", "(ab?)", "a*", "(a+)", "b?", "(?:a|ab)", "(b*?)", `\b`, "(a*)*", "x{0,2}", "|", "é"})
	rapid.Check(t, func(t *rapid.T) {
		text := strings.Join(rapid.SliceOfN(part, 0, 7).Draw(t, "pattern"), "")
		p, err := newPattern(text)
		if err != nil {
			return
		}
		line := rapid.StringOfN(rapid.SampledFrom([]rune("abxé ")), 0, 12, -1).Draw(t, "line")
		if why := agrees(p, line); why != "" {
			t.Fatalf("%s on %q: %s", text, line, why)
		}
	})
}

// What would go back for ever is left to the library.
func TestMatcher_HardPatternsAreBounded(t *testing.T) {
	p, err := newPattern("(a|aa)*c")
	if err != nil {
		t.Fatal(err)
	}
	a := attempt{line: []byte(strings.Repeat("a", 400))}
	if fits, sure := p.quick.fit(&a); fits || sure {
		t.Errorf("got %t %t, want it given up", fits, sure)
	}
	if p.find(&a) {
		t.Error("got a fit, want none")
	}
	a.line = append(a.line, 'c')
	if !p.find(&a) || a.captures[3] != 400 {
		t.Errorf("got the group's end at %d, want a fit with 400", a.captures[3])
	}
}
