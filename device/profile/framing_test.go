package profile

import (
	"bytes"
	"testing"

	"witnessmark/device"
)

// A NUL in text is a fault, but a length holds one, and so may a check that is sent as a byte.
func TestProfile_NULWhereNoTextStands(t *testing.T) {
	for rule, c := range map[string]struct{ text, frame string }{
		"in the length": {`frame: {start: "<SOH>", length: {at: 1, as: u16, plus: 3}, max: 64}
fields: {separator: ",", list: [{kind: torque, unit: N·m}, {kind: counter}]}
`, "\x01\x00\x0645.2,7"},
		"as the check of a line": {`frame: {end: CRLF, max: 64}
check: {kind: xor, over: line, sent: bytes}
fields: {separator: ",", list: [{kind: torque, unit: N·m}, {kind: counter}]}
`, "45.2,1\x00\r\n"}, // the exclusive or of 34 35 2E 32 2C is 31, and with the counter nought
	} {
		t.Run(rule, func(t *testing.T) {
			p := mustParse(t, head+serial+c.text)
			got := through(p, []byte(c.frame))
			if len(got) != 1 || got[0].Reading == nil {
				t.Errorf("got %+v of %q, want one reading", got, c.frame)
			}
			spoilt := bytes.Replace([]byte(c.frame), []byte("."), []byte("\x00"), 1)
			if got := through(p, spoilt); len(got) != 1 || got[0].Reading != nil {
				t.Errorf("got %+v of %q, want one refusal", got, spoilt)
			}
		})
	}
}

func TestProfile_WritesYesAndNoAsJSONDoes(t *testing.T) {
	p := builtins(t)["json-line"]
	got := p.Encode(device.Reading{Stored: true, Counter: ptr[int64](1), Battery: ptr[int64](50), Judged: device.JudgedPass})
	if want := []byte(`"buffered":true}`); !bytes.Contains(got, want) {
		t.Errorf("got %s, want %s in it", got, want)
	}
}
