package profile

import (
	"fmt"
	"os"
	"reflect"
	"strings"
	"testing"
	"time"

	"witnessmark/device"
	"witnessmark/device/frame"
)

const answering = `answers: {accepted: "<ACK>%counter%", refused: "<NAK>", pass: "G%counter%", fail: "B%%"}
send:
  start: ["MODE 1", "<ESC>S"]
  poll: {text: "D?", every: 500 ms}
  alive: {text: "<ENQ>", every: 10 s}
`

func answeringForm(t *testing.T, frame, more string) *Profile {
	t.Helper()
	return mustParse(t, head+serial+"frame: "+frame+`
check: {kind: xor, over: line, sent: hex}
fields: {separator: ";", list: [{kind: torque, unit: N·m}, {kind: counter}, {kind: tag, optional: true}, {kind: fixed, is: R}]}
`+more)
}

func TestProfile_Answers(t *testing.T) {
	r := device.Reading{Counter: ptr[int64](7)}
	broken := device.Refusal{Reason: device.ReasonChecksum}
	raw := strings.Replace(answering, `"B%%"}`, `"B%%", raw: true}`, 1) + "  raw: true\n"
	for _, c := range []struct{ rule, frame, answering, end string }{
		{"a line is ended as the wrench ends its own", "{end: CR, max: 64}", answering, "\r"},
		{"where any ending will do, by both", "{end: any, max: 64}", answering, "\r\n"},
		{"a raw answer stands as it is", "{end: CR, max: 64}", raw, ""},
		{"other frames have no end of their own", `{start: "<STX>", end: "<ETX>", max: 64}`, answering, ""},
	} {
		t.Run(c.rule, func(t *testing.T) {
			p := answeringForm(t, c.frame, c.answering)
			for want, got := range map[string][]byte{
				"\x067": p.Ack(r), "G7": p.Tell(r, true), "B%": p.Tell(r, false), "\x15": p.Refuse(broken),
			} {
				if want += c.end; string(got) != want {
					t.Errorf("got %q, want %q", got, want)
				}
			}
			if got := fmt.Sprintf("%q", p.Start()); got != fmt.Sprintf("%q", []string{"MODE 1" + c.end, "\x1bS" + c.end}) {
				t.Errorf("got %s at the start, want both commands with %q", got, c.end)
			}
			want := []Call{{[]byte("D?" + c.end), 500 * time.Millisecond, true}, {[]byte("\x05" + c.end), 10 * time.Second, false}}
			if got := p.Calls(); !reflect.DeepEqual(got, want) {
				t.Errorf("got %+v, want %+v", got, want)
			}
		})
	}
}

func TestProfile_AnswersNothingThatItDoesNotKnow(t *testing.T) {
	p := answeringForm(t, "{end: CR, max: 64}", "")
	r := device.Reading{Counter: ptr[int64](7)}
	if p.Ack(r) != nil || p.Tell(r, true) != nil || p.Tell(r, false) != nil || p.Refuse(device.Refusal{Reason: device.ReasonChecksum}) != nil ||
		p.Start() != nil || p.Calls() != nil || p.Registers() != nil {
		t.Error("got an answer, want none")
	}
	p = answeringForm(t, "{end: CR, max: 64}", answering)
	if p.Ack(device.Reading{}) != nil || p.Tell(device.Reading{}, true) != nil {
		t.Error("a reading without a counter: got an answer that repeats it, want none")
	}
}

// What came whole is not asked for again: the wrench would send it for ever.
func TestProfile_AsksAgainForWhatCameBroken(t *testing.T) {
	p := answeringForm(t, "{end: CR, max: 64}", answering)
	again := map[string]bool{device.ReasonChecksum: true, device.ReasonNUL: true, device.ReasonTooLong: true}
	for _, reason := range device.Reasons() {
		if got := p.Refuse(device.Refusal{Reason: reason}); got != nil != again[reason] {
			t.Errorf("%s: got %q, want an answer: %t", reason, got, again[reason])
		}
	}
}

func TestProfile_AcknowledgesWhatCameWhole(t *testing.T) {
	p := answeringForm(t, "{end: CR, max: 64}", answering)
	open := mustParse(t, head+serial+`frame: {end: CR, max: 64}
fields: {separator: ";", list: [{kind: torque, unit: N·m}, {kind: counter}]}
ack: "OK"
`)
	for _, c := range []struct {
		rule string
		p    *Profile
		line string
		want string
	}{
		{"a value that no wrench measures", p, "999999;7;;R", "\x067\r"},
		{"a field that is wrong before the counter", p, "4x;7;;R", "\x067\r"},
		{"a field that is wrong behind it", p, "4;7;\x80;R", "\x067\r"},
		{"a counter that cannot be read", p, "4;x;;R", ""},
		{"fields too few", p, "4;7", ""},
		{"another kind of frame", p, "4;7;;Q", ""},
		{"a check that does not fit", p, "4;7;;R*", ""},
		{"a frame without a check is never known to be whole", open, "4x;7", ""},
	} {
		t.Run(c.rule, func(t *testing.T) {
			line := []byte(c.line + "\r")
			if c.p.check.sum != nil && !strings.HasSuffix(c.line, "*") {
				line = fmt.Appendf(nil, "%s%02X\r", c.line, c.p.check.sum.Sum([]byte(c.line)))
			}
			got := c.p.Decode("TW-01", frame.Frame{Bytes: line})
			if got.Refusal == nil || string(got.Answer) != c.want {
				t.Errorf("%q: got %+v, want a refusal with the answer %q", line, got, c.want)
			}
		})
	}
}

func TestProfile_Registers(t *testing.T) {
	p := mustParse(t, formTexts["registers"])
	got := p.Registers()
	if got == nil || got.Unit != 1 || got.Input || got.From != 100 || got.Count != 8 || got.Every != 200*time.Millisecond || got.Changes.Offset != 0 || got.Changes.Size != 4 {
		t.Errorf("got %+v, want what the profile says", got)
	}
	r := device.Reading{Counter: ptr[int64](0x1_2345)}
	for want, got := range map[string][]byte{"\x00\xc8\x23\x45": p.Ack(r), "\x00\xc9\x00\x01": p.Tell(r, true), "\x00\xc9\x00\x02": p.Tell(r, false)} {
		if string(got) != want {
			t.Errorf("got %x, want %x", got, want)
		}
	}
	// The counter 1_2345h with its low word first, and a torque that is no number
	f := append([]byte{0x23, 0x45, 0, 1, 0, 0, 0x7f, 0xc0}, make([]byte, 8)...)
	if got := p.Decode("TW-01", frame.Frame{Bytes: f}); got.Refusal == nil || got.Refusal.Reason != device.ReasonValue || string(got.Answer) != "\x00\xc8\x23\x45" {
		t.Errorf("a value that is refused: got %+v, want it acknowledged", got)
	}
	if p.Ack(device.Reading{}) != nil || p.Tell(device.Reading{}, true) == nil {
		t.Error("a reading without a counter: got an acknowledgement or no verdict, want the verdict alone")
	}
	if p.Mode() != (Mode{}) {
		t.Errorf("got %+v, want no port", p.Mode())
	}
}

// What stands in the documentation of the package is what people copy.
func TestDocumentation_TheExampleLoads(t *testing.T) {
	text, err := os.ReadFile("profile.go")
	if err != nil {
		t.Fatal(err)
	}
	var example strings.Builder
	for line := range strings.Lines(string(text)) {
		if code, ok := strings.CutPrefix(line, "//\t"); ok {
			example.WriteString(code)
		} else if example.Len() > 0 {
			break
		}
	}
	p, err := Parse("profile.go", []byte(example.String()))
	if err != nil || p.Name != "semicolon-xor" {
		t.Errorf("got %v, want the profile of the example", err)
	}
}
