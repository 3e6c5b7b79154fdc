package sketch

import (
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"
)

func drawn(lines []string) string { return "\n" + strings.Join(lines, "\n") + "\n" }

func TestHex_Brackets(t *testing.T) {
	for name, c := range map[string]struct {
		bytes string
		parts []Part
		want  string
	}{
		"the rightmost part is said first, and what no part covers has nothing under it": {"7;45.2\r\n",
			[]Part{{2, 6, "final torque 45.2 N·m"}, {0, 1, "counter 7"}, {6, 8, "end"}}, `
37 3b 34 35 2e 32 0d 0a
7  ;  4  5  .  2  ␍  ␊
├┘    ├─────────┘ ├───┘
│     │           ╰ end
│     ╰ final torque 45.2 N·m
╰ counter 7
`},
		"a row ends before a part that does not fit": {"0123456789abcdef!!",
			[]Part{{0, 14, "first"}, {14, 18, "second"}}, `
30 31 32 33 34 35 36 37 38 39 61 62 63 64
0  1  2  3  4  5  6  7  8  9  a  b  c  d
├───────────────────────────────────────┘
╰ first
65 66 21 21
e  f  !  !
├─────────┘
╰ second
`},
		"a part longer than a row begins where there is room": {"01234567890123456789",
			[]Part{{0, 2, "first"}, {2, 20, "second"}}, `
30 31 32 33 34 35 36 37 38 39 30 31 32 33 34 35
0  1  2  3  4  5  6  7  8  9  0  1  2  3  4  5
├───┘ ├───────────────────────────────────────┄
│     ╰ second
╰ first
36 37 38 39
6  7  8  9
┄─────────┘
`},
		"a part longer than a row goes on in the next": {"0123456789abcdef!!",
			[]Part{{0, 18, "noise"}}, `
30 31 32 33 34 35 36 37 38 39 61 62 63 64 65 66
0  1  2  3  4  5  6  7  8  9  a  b  c  d  e  f
├─────────────────────────────────────────────┄
╰ noise
21 21
!  !
┄───┘
`},
		"parts of one byte share a stem": {"\x81",
			[]Part{{0, 1, "direction"}, {0, 1, "judgement"}}, `
81
·
├┘
├ judgement
╰ direction
`},
		"a part outside the frame is not drawn": {"a", []Part{{0, 2, "x"}, {1, 1, "y"}, {-1, 1, "z"}}, `
61
a
`},
		"nothing is drawn of nothing": {"", nil, "\n\n"},
	} {
		t.Run(name, func(t *testing.T) {
			if got := drawn(Hex([]byte(c.bytes), c.parts, Look{Width: 80})); got != c.want {
				t.Errorf("got %s, want %s", got, c.want)
			}
		})
	}
}

func TestText_Names(t *testing.T) {
	got := drawn(Text([]byte("\x0245.2\x03\xa5\r\n"), []Part{{0, 1, "start"}, {1, 5, "torque"}, {6, 7, "check"}}, Look{Width: 30}))
	want := `
<STX>45.2<ETX><A5><CR><LF>
├───┘├──┘     ├──┘
│    │        ╰ check
│    ╰ torque
╰ start
`
	if got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

func TestHex_LabelsAreWrapped(t *testing.T) {
	got := drawn(Hex([]byte("ab"), []Part{{0, 1, "x"}, {1, 2, "one two three four"}}, Look{Width: 15}))
	want := `
61 62
a  b
├┘ ├┘
│  ╰ one two
│    three four
╰ x
`
	if got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

func TestHex_Colour(t *testing.T) {
	plain := Hex([]byte("ab"), []Part{{0, 1, "x"}}, Look{Width: 80})
	coloured := Hex([]byte("ab"), []Part{{0, 1, "x"}}, Look{Width: 80, Colour: true})
	if strings.Contains(drawn(plain), "\x1b") {
		t.Errorf("got %q, want no colour that nobody asked for", plain)
	}
	if want := "\x1b[36m61\x1b[0m 62"; coloured[0] != want {
		t.Errorf("got %q, want %q", coloured[0], want)
	}
	for _, line := range coloured {
		if strings.Contains(line, "\x1b[36m") && !strings.Contains(line, "\x1b[0m") {
			t.Errorf("got %q, want a colour that ends with its line", line)
		}
	}
}

// TestDraw_AnyFrame: whatever the parts, every byte stands in the drawing once and no line is wider than the terminal,
// as long as the words are short.
func TestDraw_AnyFrame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := rapid.SliceOfN(rapid.Byte(), 0, 80).Draw(t, "bytes")
		var parts []Part
		for range rapid.IntRange(0, 12).Draw(t, "parts") {
			from := rapid.IntRange(-1, 80).Draw(t, "from")
			parts = append(parts, Part{from, from + rapid.IntRange(0, 40).Draw(t, "length"), "some words on a part"})
		}
		bytes := 0
		for _, line := range Hex(b, parts, Look{Width: 80}) {
			if utf8.RuneCountInString(line) > 80 {
				t.Fatalf("got a line of %d columns, want at most 80:\n%s", utf8.RuneCountInString(line), line)
			}
			if hex := strings.Fields(line); len(hex) > 0 && len(strings.Trim(strings.Join(hex, ""), "0123456789abcdef")) == 0 && len(hex[0]) == 2 {
				bytes += len(hex)
			}
		}
		if bytes != len(b) {
			t.Fatalf("got %d bytes drawn, want %d", bytes, len(b))
		}
		Text(b, parts, Look{Width: 20, Colour: true})
	})
}
