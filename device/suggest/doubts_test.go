package suggest

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"witnessmark/device"
	"witnessmark/device/capture"
)

// lines are frames that end with CR LF.
func crlf(texts ...string) (all [][]byte) {
	for _, t := range texts {
		all = append(all, []byte(t+"\r\n"))
	}
	return all
}

// TestPropose_Doubts: what a capture cannot tell is said in a sentence.
func TestPropose_Doubts(t *testing.T) {
	plain := crlf("1;30.4;Nm;87.2;R", "2;127.6;Nm;91.5;R", "3;29.8;Nm;44.3;R")
	for name, c := range map[string]struct {
		frames [][]byte
		shown  []string
		asked  Asked
		says   string // a doubt
		yaml   string // in the profile
	}{
		"a letter that never changed": {plain, []string{"30.4 N·m", "29.8 N·m"}, Asked{},
			`The direction was always "R": write what the wrench sends when it loosens; "L" is a guess.`, `tighten: "R", loosen: "L"`},
		"no check":           {plain, []string{"30.4 N·m", "29.8 N·m"}, Asked{}, "No check was found that fits the frames (3 different frames were seen)", ""},
		"the serial port":    {plain, []string{"30.4 N·m", "29.8 N·m"}, Asked{Baud: 4800}, "cannot be seen in the bytes", "baud: 4800, bits: 8"},
		"an angle not shown": {plain, []string{"30.4 N·m", "29.8 N·m"}, Asked{}, "No angle was shown", ""},
		"one unit only":      {plain, []string{"30.4 N·m", "29.8 N·m"}, Asked{}, `The unit was always "Nm"`, `spelled: {"Nm": N·m}`},
		"no unit": {crlf("30.4;87.2", "127.6;91.5", "29.8;44.3"), []string{"30.4 lbf·ft, 87.2°", "29.8 lbf·ft"}, Asked{},
			"every torque is taken to be in lbf·ft", "unit: lbf·ft"},
		"a code that never changed, of few pulls": {crlf("30.4;87.2;1", "127.6;91.5;1", "29.8;44.3;1"), []string{"30.4 N·m, 87.2°", "29.8 N·m"}, Asked{},
			`Only 3 readings: what was always "1" (field 3) may be a preset, a code or a count`, "kind: unread"},
		"a code that changes": {crlf("30.4;87.2;M1", "127.6;91.5;M2", "29.8;44.3;M1"), []string{"30.4 N·m, 87.2°", "29.8 N·m"}, Asked{},
			`What stands in field 3 changes ("M1", "M2") and is not read`, "kind: unread"},
		"shown values that are alike": {plain, []string{"30.4 N·m"}, Asked{}, "Show at least two pulls that differ", ""},
		"the same value twice in the line": {crlf("30.4;30.4;87.2", "127.6;127.6;91.5", "29.8;29.8;44.3"), []string{"30.4 N·m, 87.2°", "29.8 N·m"}, Asked{},
			"What was shown stands elsewhere too: field 2. Torque was taken from field 1", ""},
		"other frames that would do": {crlf("30.4;87.2", "30.4;87.2;", "29.8;44.3", "30.4;87.2", "31.0;1.2"), []string{"30.4 N·m", "31.0 N·m"}, Asked{},
			"", ""},
		"lines that are sent again": {crlf("1;30.4;87.2", "1;30.4;87.2", "2;127.6;91.5", "3;29.8;44.3"), []string{"30.4 N·m", "29.8 N·m"}, Asked{},
			"Some frames came twice", ""},
		"a line that is no reading": {crlf("READY v1.2", "30.4;87.2", "127.6;91.5", "29.8;44.3"), []string{"30.4 N·m", "29.8 N·m"}, Asked{},
			`begin with "READY" are taken for no readings`, `ignore: ["READY"]`},
		"a heading": {crlf("Torque;Angle", "30.4;87.2", "127.6;91.5", "29.8;44.3"), []string{"30.4 N·m", "29.8 N·m"}, Asked{},
			`begin with "Torque" are taken for no readings`, `ignore: ["Torque"]`},
		"more digits than the display shows": {crlf("30.43;87.2", "127.58;91.5", "29.81;44.3"), []string{"30.4 N·m", "127.6 N·m"}, Asked{},
			"compared after rounding", "decimals: 2"},
		"a minus that nobody showed": {crlf("30.4;87.2", "-127.6;91.5", "29.8;44.3"), []string{"30.4 N·m", "29.8 N·m"}, Asked{},
			"Some torques have a minus, which is taken for loosening", "minus: loosens"},
		"letters that nobody showed": {crlf("30.4;L", "127.6;R", "29.8;R"), []string{"30.4 N·m", "29.8 N·m"}, Asked{},
			`"R" and "L" are taken for tightening and loosening`, `tighten: "R", loosen: "L"`},
		"two letters that never changed": {crlf("R;30.4;+", "R;127.6;+", "R;29.8;+"), []string{"30.4 N·m", "29.8 N·m"}, Asked{},
			"one of them may tell the direction", "kind: unread"},
		"two columns that change with the direction": {crlf("30.4;A;x", "127.6;B;y", "29.8;A;x"), []string{"30.4 N·m", "127.6 N·m, loosening"}, Asked{},
			"The direction was taken from field 2; field 3 changes with it as well", `tighten: "A", loosen: "B"`},
		"of two columns that change with the direction the usual letters": {crlf("30.4;x;R", "127.6;y;L", "29.8;x;R"), []string{"30.4 N·m", "127.6 N·m, loosening"}, Asked{},
			"", `tighten: "R", loosen: "L"`},
		"two sorts of frames that hold what was shown": {crlf("LV;30.4", "PK;30.4;1", "LV;12.5", "LV;29.8", "PK;29.8;1"), []string{"30.4 N·m", "29.8 N·m"}, Asked{},
			"Frames that begin with LV, PK all hold what was shown", `is: "PK"`},
		"a serial number": {crlf("W204417;30.4", "W204417;127.6", "W204417;29.8"), []string{"30.4 N·m", "29.8 N·m"}, Asked{},
			`"W204417" stood in field 1 in every frame and is taken for the wrench's serial number`, "kind: serial"},
	} {
		t.Run(name, func(t *testing.T) {
			p, err := Propose(recorded(c.frames...), displayed(t, c.shown...), c.asked)
			if err != nil {
				t.Fatal(err)
			}
			all := strings.Join(p.Unsure, "\n")
			if !strings.Contains(all, c.says) || !strings.Contains(p.YAML, c.yaml) {
				t.Errorf("got %s\n%s, want %q and %q", all, p.YAML, c.says, c.yaml)
			}
		})
	}
}

// TestPropose_Labels: in columns a word that never changes is a label, and nothing to look up; a number is.
func TestPropose_Labels(t *testing.T) {
	p, err := Propose(recorded(crlf("T:  30.4 77", "T: 127.6 77", "T:  29.8 77", "T: 101.7 77")...), displayed(t, "30.4 N·m", "29.8 N·m"), Asked{})
	if err != nil {
		t.Fatal(err)
	}
	all := strings.Join(p.Unsure, "\n")
	if !strings.Contains(p.YAML, "columns: true") || !strings.Contains(all, `"77" stood in columns 10 to 11`) || strings.Contains(all, `"T"`) {
		t.Errorf("got %s\n%s, want columns, and only the number to be looked up", all, p.YAML)
	}
}

// TestPropose_RoomForMore: where the bytes beside a torque are nought, it may be a longer number.
func TestPropose_RoomForMore(t *testing.T) {
	for high, want := range map[byte]bool{0: true, 7: false} {
		p, err := Propose(recorded(frames(func(n int, p pull) []byte {
			f := binary.BigEndian.AppendUint16([]byte{0xa5, high, 0}, uint16(p.torque*10+0.5))
			return binary.BigEndian.AppendUint16(f, uint16(p.angle*10+0.5))
		})...), shownOf(t, 0, 1, 2, 4), Asked{})
		if err != nil {
			t.Fatal(err)
		}
		if got := strings.Contains(strings.Join(p.Unsure, "\n"), "the torque may have four bytes. Record a pull of more than 3276.7 N·m"); got != want {
			t.Errorf("high byte %d: got it said: %t, want %t\n%s", high, got, want, p.YAML)
		}
	}
}

// TestPropose_Meanings: what the display showed decides what a field means.
func TestPropose_Meanings(t *testing.T) {
	for name, c := range map[string]struct {
		frames [][]byte
		shown  []string
		yaml   string
		want   string // all readings
	}{
		"letters that follow what was shown to loosen": {crlf("30.4;A", "127.6;B", "29.8;A"), []string{"30.4 N·m", "127.6 N·m, loosening"},
			`tighten: "A", loosen: "B"`, "30.4 N·m, no angle, tighten\n127.6 N·m, no angle, loosen\n29.8 N·m, no angle, tighten\n"},
		"a minus where it was shown to loosen": {crlf("30.4;R", "-127.6;R", "29.8;R"), []string{"30.4 N·m", "127.6 N·m, loosening"},
			"minus: loosens", "30.4 N·m, no angle, tighten\n127.6 N·m, no angle, loosen\n29.8 N·m, no angle, tighten\n"},
		"codes of units, which follow the unit shown": {crlf("30.4;0;1", "22.1;1;1", "29.8;0;1"), []string{"30.4 N·m", "22.1 lbf·ft"},
			`spelled: {"0": N·m, "1": lbf·ft}`, "30.4 N·m, no angle, tighten\n29.963577 N·m, no angle, tighten\n29.8 N·m, no angle, tighten\n"},
		"a spelled unit wins over the one shown": {crlf("45.2;Nm", "90.1;Nm", "29.8;Nm"), []string{"33.34 lbf·ft", "66.45 lbf·ft"},
			`spelled: {"Nm": N·m}`, "45.2 N·m, no angle, tighten\n90.1 N·m, no angle, tighten\n29.8 N·m, no angle, tighten\n"},
		"whole numbers that are tenths": {crlf("304 872", "1276 915", "298 443"), []string{"30.4 N·m, 87.2°", "29.8 N·m, 44.3°"},
			"scale: 0.1", "30.4 N·m, 87.2°, tighten\n127.6 N·m, 91.5°, tighten\n29.8 N·m, 44.3°, tighten\n"},
		"an angle that is missing at times": {crlf("30.4;87.2;R", "127.6;;R", "29.8;44.3;R"), []string{"30.4 N·m, 87.2°", "29.8 N·m, 44.3°"},
			"optional: true", "30.4 N·m, 87.2°, tighten\n127.6 N·m, no angle, tighten\n29.8 N·m, 44.3°, tighten\n"},
		"a text where there is no angle": {crlf("30.4;87.2;R", "127.6;---;R", "29.8;44.3;R"), []string{"30.4 N·m, 87.2°", "29.8 N·m, 44.3°"},
			`none: "---"`, "30.4 N·m, 87.2°, tighten\n127.6 N·m, no angle, tighten\n29.8 N·m, 44.3°, tighten\n"},
		"readings among lines of what the wrench feels while it is pulled": {
			crlf("LV;12.5;1", "LV;30.4;1", "PK;30.4;9", "LV;55.1;1", "LV;127.6;1", "PK;127.6;9", "LV;29.8;1", "PK;29.8;9"),
			[]string{"30.4 N·m", "127.6 N·m", "29.8 N·m"}, `is: "PK"`, "30.4 N·m, no angle, tighten\n127.6 N·m, no angle, tighten\n29.8 N·m, no angle, tighten\n"},
		"angles with a sign of their own": {crlf("30.4;1.5", "-12.0;-3.0", "29.8;-2.0"), []string{"30.4 N·m, 1.5°", "12.0 N·m, 3.0°, loosening"},
			"minus: kept", "30.4 N·m, 1.5°, tighten\n12 N·m, -3°, loosen\n29.8 N·m, -2°, tighten\n"},
		"a lead that begins a name in a profile": {crlf("<30.4;A", "<127.6;B", "<29.8;A"), []string{"30.4 N·m", "127.6 N·m, loosening"},
			`lead: "<3C>"`, "30.4 N·m, no angle, tighten\n127.6 N·m, no angle, loosen\n29.8 N·m, no angle, tighten\n"},
		"words with labels of which some are missing": {crlf("T=30.4 A=87.2 P=1 OK", "T=127.6 P=1 OK", "T=29.8 A=44.3 OK"), []string{"30.4 N·m, 87.2°", "29.8 N·m, 44.3°"},
			"(?: *A=", "30.4 N·m, 87.2°, tighten\n127.6 N·m, no angle, tighten\n29.8 N·m, 44.3°, tighten\n"},
	} {
		t.Run(name, func(t *testing.T) {
			r := recorded(c.frames...)
			p, err := Propose(r, displayed(t, c.shown...), Asked{})
			if err != nil {
				t.Fatal(err)
			}
			if got := measured(readings(p, r)); got != c.want || !strings.Contains(p.YAML, c.yaml) {
				t.Errorf("got %s\n%s, want %s with %q", got, p.YAML, c.want, c.yaml)
			}
		})
	}
}

// TestPropose_SevenBits: the parity bit of seven-bit characters is found, and taken off.
func TestPropose_SevenBits(t *testing.T) {
	frames := frames(func(n int, p pull) []byte {
		f := fmt.Appendf(nil, "\x02%05.1f %05.1fd\x03", p.torque, p.angle)
		f = append(f, byte(check(t, "sum", f[1:]))&0x7f)
		for i, c := range f {
			ones := 0
			for k := range 7 {
				ones += int(c>>k) & 1
			}
			f[i] = c | byte(ones%2)<<7
		}
		return f
	})
	p, err := Propose(recorded(frames...), shownOf(t, 0, 1, 3), Asked{})
	if err != nil {
		t.Fatal(err)
	}
	if p.Readings != len(pulls) || !strings.Contains(p.YAML, "bits: 7, parity: even") || !strings.Contains(p.YAML, "kind: sum,") || !strings.Contains(p.Unsure[0], "even parity") {
		t.Errorf("got %s\n%s, want 7 bits with even parity", p.YAML, p.Unsure)
	}
}

func TestParity(t *testing.T) {
	for name, c := range map[string]struct {
		b    []byte
		want string
	}{
		"even":                {bytes.Repeat([]byte{0x30, 0xb1}, 12), "even"},
		"odd":                 {bytes.Repeat([]byte{0xb0, 0x31}, 12), "odd"},
		"too few bytes":       {bytes.Repeat([]byte{0x30, 0xb1}, 11), ""},
		"none":                {append(bytes.Repeat([]byte{0x30, 0xb1}, 12), 0x31), ""},
		"no bit of its own":   {bytes.Repeat([]byte{0x30, 0x33}, 12), ""},
		"nothing but letters": {[]byte("the letters of a plain line"), ""},
	} {
		t.Run(name, func(t *testing.T) {
			if got := parity([]stream{{{bytes: c.b}}}); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

// TestPropose_Nothing: where nothing is found, the error says what to record instead.
func TestPropose_Nothing(t *testing.T) {
	noise := make([]byte, 400)
	random := rand.NewChaCha8([32]byte{1})
	for i := 0; i < len(noise); i += 8 {
		binary.LittleEndian.PutUint64(noise[i:], random.Uint64()|0x8000800080008000)
	}
	for name, c := range map[string]struct {
		capture capture.Capture
		shown   []string
		want    string
	}{
		"no bytes":                 {capture.Capture{Chunks: []capture.Chunk{{Gone: true}}}, []string{"30 N·m"}, "the capture holds no bytes"},
		"nothing shown":            {recorded(crlf("30.4")...), nil, "write down what the display showed"},
		"a wrong speed":            {recorded(noise), []string{"30 N·m"}, "the baud rate, the bits or the parity are probably wrong"},
		"fewer frames":             {recorded(crlf("30.4;1")...), []string{"30.4 N·m", "45.2 N·m"}, "falls into 1 frame, but 2 shown values were given"},
		"another value":            {recorded(crlf("30.4;1", "45.2;1")...), []string{"30.4 N·m", "45.3 N·m"}, "no place in the frames holds all the shown values"},
		"another order":            {recorded(crlf("30.4;1", "45.2;1")...), []string{"45.2 N·m", "30.4 N·m"}, "in the order of the pulls"},
		"bytes and too few values": {recorded([]byte{0xa5, 1, 30, 7, 0x80}, []byte{0xa5, 2, 45, 9, 0x81}, []byte{0xa5, 3, 12, 4, 0x9a}), []string{"30 N·m", "45 N·m"}, "at least three pulls that differ"},
		"nothing tells loosing":    {recorded(crlf("30.4;1", "45.2;1")...), []string{"30.4 N·m", "45.2 N·m, loosening"}, "nothing in the frames tells"},
	} {
		t.Run(name, func(t *testing.T) {
			p, err := Propose(c.capture, displayed(t, c.shown...), Asked{})
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v and\n%s, want %q", err, p.YAML, c.want)
			}
		})
	}
}

// TestFindSeal_Refutable: a check that the frames could not have refuted is not believed.
func TestFindSeal_Refutable(t *testing.T) {
	sealed := func(bodies ...string) (c cut) {
		c, _ = lines(nil)
		c = cut{line: true, end: []byte("\r\n")}
		for _, b := range bodies {
			c.samples = append(c.samples, sample{bytes: fmt.Appendf(nil, "%s*%02X\r\n", b, check(t, "xor", []byte(b)))})
		}
		return c
	}
	for name, c := range map[string]struct {
		cut
		want int
	}{
		"four frames that differ":             {sealed("1;30.4", "2;45.2", "3;51.7", "4;12.0"), 4},
		"two are too few":                     {sealed("1;30.4", "2;45.2"), 0},
		"the same frame over and over is one": {sealed("1;30.4", "1;30.4", "1;30.4", "1;30.4", "1;30.4"), 0},
		"checks that are all the same":        {sealed("12;30.4", "21;30.4", "12;34.0", "21;34.0", "12;43.0"), 0},
	} {
		t.Run(name, func(t *testing.T) {
			if v := findSeal(c.cut, false); v.fits != c.want {
				t.Errorf("got %+v, want %d frames that support it", v, c.want)
			}
		})
	}
	t.Run("frames that differ in what is not covered are one", func(t *testing.T) {
		c := cut{line: true, end: []byte("\r\n")}
		for _, lead := range []string{"a", "b", "c", "d", "e"} {
			for _, b := range []string{"1;30.4", "2;45.2"} {
				c.samples = append(c.samples, sample{bytes: fmt.Appendf(nil, "%s%s*%02X\r\n", lead, b, check(t, "xor", []byte(b)))})
			}
		}
		if v := findSeal(c, false); v.fits != 0 {
			t.Errorf("got %+v, want no check: only two frames could have refuted it", v)
		}
	})
	t.Run("a frame that does not fit does not hide the check", func(t *testing.T) {
		c := sealed("1;30.4", "2;45.2", "3;51.7", "4;12.0", "5;17.2")
		c.samples[2].bytes[2] = '9'
		if v := findSeal(c, false); v.fits != 4 || v.of != 5 || v.Name() != "xor" {
			t.Errorf("got %+v, want 4 of 5 to support the xor", v)
		}
	})
}

// TestPropose_Always: whatever stands in the lines, the profile that is written can be read and gives what was shown,
// the same every time; and a search that finds nothing says so without a fault of its own.
func TestPropose_Always(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		odd := rapid.StringMatching(`[ -~]{0,6}`)
		between := rapid.SampledFrom([]string{";", ",", "\t", " ", "|", "'", "\"", "\\", "<", "%", "{", ":", "", "#"})
		lead, sep := odd.Draw(t, "lead"), between.Draw(t, "separator")
		tail := rapid.SliceOfN(odd, 4, 4).Draw(t, "tail")
		var frames [][]byte
		var shown []Shown
		for i, tenths := range rapid.SliceOfN(rapid.IntRange(1, 3000), 4, 4).Draw(t, "tenths") {
			number := fmt.Sprintf("%d.%d", tenths/10, tenths%10)
			frames = append(frames, []byte(lead+sep+number+sep+tail[i]+"\r\n"))
			one, err := ParseShown(number + " N·m")
			if err != nil {
				t.Fatal(err)
			}
			shown = append(shown, one)
		}
		c := recorded(frames...)
		p, err := Propose(c, shown, Asked{})
		if err != nil {
			if strings.Contains(err.Error(), "fault of this program") {
				t.Fatal(err)
			}
			return
		}
		if len(p.Found) != len(shown) {
			t.Fatalf("got %d of %d shown values\n%s", len(p.Found), len(shown), p.YAML)
		}
		for i, f := range p.Found {
			if fits, _ := shown[i].torqueFits(f.Reading.Torque); !fits {
				t.Fatalf("got %s, want %s\n%s", f.Reading.Torque, f.Shown, p.YAML)
			}
		}
		if again, err := Propose(c, shown, Asked{}); err != nil || again.YAML != p.YAML || strings.Join(again.Unsure, "") != strings.Join(p.Unsure, "") {
			t.Fatalf("got another proposal the second time:\n%s\n%s", p.YAML, again.YAML)
		}
	})
}

// TestStream_Bursts: pauses part what belongs together.
func TestStream_Bursts(t *testing.T) {
	ms := func(n int) time.Duration { return time.Duration(n) * time.Millisecond }
	s := stream{{ms(0), []byte("ab")}, {ms(12), []byte("c")}, {ms(500), []byte("de")}, {ms(507), []byte("f")}, {ms(2000), []byte("g")}}
	quiet := silences([]stream{s})
	if quiet[0] != (silence{ms(12), ms(488)}) {
		t.Errorf("got %v, want the pauses parted between 12 and 488 ms", quiet)
	}
	var got []string
	for _, b := range s.bursts(quiet[0].between) {
		got = append(got, string(b.bytes))
	}
	if strings.Join(got, " ") != "abc def g" {
		t.Errorf("got %q, want three bursts", got)
	}
	if at := s.at(3); at != ms(500) {
		t.Errorf("got %s, want 500ms", at)
	}
	if !bytes.Equal(s.bytes(), []byte("abcdefg")) || device.MaxRaw == 0 {
		t.Errorf("got %q", s.bytes())
	}
}
