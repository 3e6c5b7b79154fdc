package tried

import (
	"bytes"
	"encoding/json"
	"errors"
	"strings"
	"testing"
	"time"

	"witnessmark/device"
	"witnessmark/device/capture"
	"witnessmark/device/profile"
	"witnessmark/device/sketch"
	"witnessmark/device/trial"
	"witnessmark/device/unit"
)

const form = `format: witnessmark/wrench/1
name: short
version: "1"
serial: {baud: 9600, bits: 8, parity: none, stop: 1}
frame: {end: CRLF, max: 64}
fields:
  separator: ";"
  list:
    - {name: count, kind: counter}
    - {name: torque, kind: torque, unit: N·m}
ignore: ["!"]
`

// play tells a teller what came: a reading, a line that is none, a broken one, noise, and half a line before the plug.
func play(t *testing.T, teller Teller) error {
	t.Helper()
	p, err := profile.Parse("short.yaml", []byte(form))
	if err != nil {
		t.Fatal(err)
	}
	var tally Tally
	c := capture.Capture{Chunks: []capture.Chunk{
		{At: 12 * time.Millisecond, Bytes: []byte("7;45.2\r\n!on\r\n8;x\r\n")},
		{At: time.Second, Bytes: []byte(strings.Repeat("z", 80) + "\r\n9;30")},
		{At: 2 * time.Second, Gone: true},
	}}
	trial.Play(p, c, func(f trial.Frame) {
		tally.Add(f.Result)
		teller.Frame(f, p.Explain(f.Frame))
	}, func(at time.Duration) { teller.Gone(at, Unplugged) })
	return teller.End(tally)
}

func TestPage_Pictures(t *testing.T) {
	var out bytes.Buffer
	if err := play(t, &Page{Out: &out, Look: sketch.Look{Width: 80}}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`frame 1  0.012 s, 8 bytes
  37 3b 34 35 2e 32 0d 0a
  7  ;  4  5  .  2  ␍  ␊
  ├┘    ├─────────┘ ├───┘
  │     │           ╰ end of the frame
  │     ╰ torque: 45.2 N·m
  ╰ count: 7
  ✓ 45.2 N·m, tightened, number 7
`, `frame 2  0.012 s, 5 bytes
  21 6f 6e 0d 0a
  !  o  n  ␍  ␊
  – no reading: the profile ignores frames that begin like “!on”
`, `  ✗ refused, form: found torque "x", expected a number
`, `  … and 34 bytes more
  ✗ refused, too long: no end of frame within the 64 bytes that the profile
    allows
`, `frame 5  1.000 s, 4 bytes
  39 3b 33 30
  9  ;  3  0
  ✗ refused, torn: the port closed in the middle of a frame

── 2.000 s  the port went away ──
`, `5 frames: 1 reading, 3 refused, 1 no readings
     1 form      the frame has not the fields that the profile draws
     1 torn      the port went away in the middle of a frame
     1 too long  no end of frame came: wrong end of frame, or wrong baud rate
`} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("got\n%s\nwant in it\n%s", out.String(), want)
		}
	}
}

// TestPage_LongText: what can be read is drawn as text where its digits would fill the page.
func TestPage_LongText(t *testing.T) {
	p, err := profile.Parse("long.yaml", []byte(strings.Replace(strings.Replace(form, "max: 64", "max: 200", 1), "kind: counter}", "kind: tag}", 1)))
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct{ line, want string }{
		"as text":                {strings.Repeat("a", 60) + ";45.2\r\n", "  aaaa;45.2<CR><LF>\n  ┄──┘ ├──┘├──────┘\n       │   ╰ end of the frame\n       ╰ torque: 45.2 N·m\n"},
		"a shorter one has both": {"a;45.2\r\n", "  61 3b 34 35 2e 32 0d 0a\n  a  ;  4  5  .  2  ␍  ␊\n"},
	} {
		t.Run(name, func(t *testing.T) {
			var out bytes.Buffer
			page := &Page{Out: &out, Look: sketch.Look{Width: 80}}
			trial.Play(p, capture.Capture{Chunks: []capture.Chunk{{Bytes: []byte(c.line)}}}, func(f trial.Frame) { page.Frame(f, p.Explain(f.Frame)) }, nil)
			if !strings.Contains(out.String(), c.want) {
				t.Errorf("got\n%s\nwant in it\n%s", out.String(), c.want)
			}
		})
	}
}

// TestParts_Plain: what stands between the parts that mean something has no word of its own.
func TestParts_Plain(t *testing.T) {
	e := profile.Explanation{Parts: []profile.Part{{From: 0, To: 1, Name: "count", Meaning: "7"}, {From: 1, To: 2, Name: "separator"}, {From: 2, To: 3, Name: "not looked at"}}}
	if got := parts(e, 3); len(got) != 1 || got[0].Label != "count: 7" {
		t.Errorf("got %+v, want the count alone", got)
	}
}

func TestPage_Brief(t *testing.T) {
	var out bytes.Buffer
	if err := play(t, &Page{Out: &out, Brief: true, Look: sketch.Look{Width: 80, Colour: true}}); err != nil {
		t.Fatal(err)
	}
	first, _, _ := strings.Cut(out.String(), "\n")
	if want := "\x1b[1m   1\x1b[0m \x1b[2m    0.012 s\x1b[0m  \x1b[32m✓\x1b[0m 45.2 N·m, tightened, number 7"; first != want {
		t.Errorf("got %q, want %q", first, want)
	}
	if n := strings.Count(out.String(), "\n"); n != 10 {
		t.Errorf("got %d lines, want one for each of 5 frames, one for the plug, and four of the tally:\n%s", n, out.String())
	}
}

func TestPage_NothingCame(t *testing.T) {
	var out bytes.Buffer
	if err := (&Page{Out: &out}).End(Tally{}); err != nil || out.String() != "No frame came.\n" {
		t.Errorf("got %q, %v, want it said", out.String(), err)
	}
}

func TestLines_OneObjectALine(t *testing.T) {
	var out bytes.Buffer
	if err := play(t, &Lines{Out: &out}); err != nil {
		t.Fatal(err)
	}
	type line struct {
		frameLine
		Port    string `json:"port"`
		Summary *Tally `json:"summary"`
	}
	var got []line
	for d := json.NewDecoder(&out); d.More(); {
		var l line
		if err := d.Decode(&l); err != nil {
			t.Fatal(err)
		}
		got = append(got, l)
	}
	if len(got) != 7 {
		t.Fatalf("got %d lines, want 5 frames, the plug and the summary", len(got))
	}
	if g := got[0]; g.Frame != 1 || g.AtMS != 12 || g.Bytes != "373b34352e320d0a" || g.Reading == nil || g.Reading.Torque.String() != "45.2 N·m" || g.Refusal != nil || g.Ignored {
		t.Errorf("got %+v, want the reading", g)
	}
	if p := got[0].Parts[0]; p != (partLine{0, 1, "count", "7"}) {
		t.Errorf("got %+v, want the count", p)
	}
	if !got[1].Ignored || got[2].Refusal == nil || got[2].Refusal.Reason != device.ReasonForm || got[4].Refusal.Reason != device.ReasonTorn || got[5].Port != "gone" {
		t.Errorf("got %+v", got)
	}
	if s := got[6].Summary; s == nil || s.Frames != 5 || s.Readings != 1 || s.Ignored != 1 || s.Refused != 3 || s.Reasons[device.ReasonForm] != 1 {
		t.Errorf("got %+v, want the tally", s)
	}
}

// TestMeans_EveryReason: every reason that a frame can be refused for has its words in the tally.
func TestMeans_EveryReason(t *testing.T) {
	said := map[string]bool{}
	for _, m := range means {
		said[m.reason] = m.about != ""
	}
	for _, reason := range device.Reasons() {
		if !said[reason] {
			t.Errorf("got no words for %q", reason)
		}
	}
}

func TestWords(t *testing.T) {
	angle, count, battery := 31*unit.Degree, int64(7), int64(87)
	torque, err := unit.TorqueIn("22.1", unit.LbfFt)
	if err != nil {
		t.Fatal(err)
	}
	got := Words(device.Reading{Torque: torque, TorqueText: "22.1", Unit: unit.LbfFt, Angle: &angle, Direction: device.Loosen, Counter: &count,
		Judged: device.JudgedLow, Preset: "P7", Tag: "M7", Clock: "09:41", Serial: "W1", Battery: &battery, ErrorCode: "E1", Stored: true})
	want := "22.1 lbf·ft (29.963577 N·m), 31°, loosened, number 7, judged low by the wrench, preset P7, tag M7, its clock 09:41, wrench W1, battery 87 %, error E1, from its memory"
	if got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

type full struct{}

var errFull = errors.New("no space left")

func (full) Write([]byte) (int, error) { return 0, errFull }

func TestTeller_AnOutputThatFailsIsTold(t *testing.T) {
	for _, teller := range []Teller{&Page{Out: full{}}, &Lines{Out: full{}}} {
		if err := play(t, teller); !errors.Is(err, errFull) {
			t.Errorf("%T: got %v, want %v", teller, err, errFull)
		}
	}
}
