package profile

import (
	"bytes"
	"fmt"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"
	"witnessmark/device"
	"witnessmark/device/frame"
	"witnessmark/device/unit"
)

func mustBuiltin(t testing.TB) *Profile {
	t.Helper()
	p, err := Builtin("semicolon-xor")
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// form is a profile text whose blocks a test replaces.
func form(t testing.TB, check, fields string) *Profile {
	t.Helper()
	text := "format: witnessmark/wrench/1\nname: test\nversion: \"2\"\nserial: {baud: 4800, bits: 7, parity: even, stop: 2}\n" +
		"frame: {end: LF, max: 64}\ncheck: " + check + "\nfields:\n" + fields
	p, err := Parse("test.yaml", []byte(text))
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	return p
}

// sealed is a line of the built-in profile around the body, with its check.
func sealed(body string) string {
	var b byte
	for _, c := range []byte(body) {
		b ^= c
	}
	return fmt.Sprintf("#%s*%02X\r\n", body, b)
}

func decode(p *Profile, line string) Result {
	return p.Decode("TW-01", frame.Frame{Bytes: []byte(line)})
}

func ptr[V any](v V) *V { return &v }

func TestProfile_Decode(t *testing.T) {
	line := sealed("1042;45.2;LBFT;31.4;L;2026-01-17T09:41:07;cap 3")
	got := decode(mustBuiltin(t), line)
	want := device.Reading{
		Wrench: "TW-01", Torque: 61_282_971, TorqueText: "45.2", Unit: unit.LbfFt, Angle: ptr(unit.Angle(31_400)),
		Direction: device.Loosen, Counter: ptr(int64(1042)), Clock: "2026-01-17T09:41:07", Tag: "cap 3",
		Raw: []byte(line), Profile: "semicolon-xor 1",
	}
	if got.Reading == nil || !reflect.DeepEqual(*got.Reading, want) {
		t.Errorf("got %+v, want the reading %+v", got, want)
	}
}

func TestProfile_DecodeKeepsNothingOfTheFrame(t *testing.T) {
	line := sealed("1;45.2;Nm;;R;now;")
	raw := []byte(line)
	got := mustBuiltin(t).Decode("TW-01", frame.Frame{Bytes: raw})
	clear(raw)
	if r := got.Reading; r == nil || string(r.Raw) != line || r.Clock != "now" || r.TorqueText != "45.2" {
		t.Errorf("got %+v, want a reading that does not change with the frame's bytes", got)
	}
}

func TestProfile_Refusals(t *testing.T) {
	for _, c := range []struct{ rule, line, reason, detail string }{
		{"another lead", "$1;2;Nm;;R;;*00\r\n", device.ReasonForm, `begin "#"`},
		{"a flipped bit", strings.Replace(sealed("1;45.2;Nm;;R;;"), "45", "44", 1), device.ReasonChecksum, "expected"},
		{"no mark", "#1;45.2;Nm;;R;;00\r\n", device.ReasonForm, "found no check"},
		{"only a lead and a check", "#00\r\n", device.ReasonForm, "found no check"},
		{"a check that is no number", "#1;45.2;Nm;;R;;*GG\r\n", device.ReasonForm, "hexadecimal"},
		{"a field too few", sealed("1;45.2;Nm;;R;"), device.ReasonForm, "found 6 fields, expected 7"},
		{"fields too many", sealed("1;45.2;Nm;;R;;;;"), device.ReasonForm, "found 9 fields, expected 7"},
		{"no count", sealed(";45.2;Nm;;R;;"), device.ReasonForm, "nothing for count"},
		{"a count with a sign", sealed("-1;45.2;Nm;;R;;"), device.ReasonForm, "whole number"},
		{"a count beyond 63 bits", sealed("9223372036854775808;45.2;Nm;;R;;"), device.ReasonForm, "whole number"},
		{"a torque that is no number", sealed("1;4x;Nm;;R;;"), device.ReasonForm, "found final torque"},
		{"a decimal comma", sealed("1;45,2;Nm;;R;;"), device.ReasonForm, "found final torque"},
		{"an exponent", sealed("1;1e1;Nm;;R;;"), device.ReasonForm, "found final torque"},
		{"an unknown unit", sealed("1;45.2;N;;R;;"), device.ReasonForm, "found unit"},
		{"an angle that is no number", sealed("1;45.2;Nm;--;R;;"), device.ReasonForm, "found final angle"},
		{"a strange direction", sealed("1;45.2;Nm;;r;;"), device.ReasonForm, "R or L"},
		{"a clock that cannot be printed", sealed("1;45.2;Nm;;R;\x80;"), device.ReasonForm, "printable"},
		{"a negative torque", sealed("1;-45.2;Nm;;R;;"), device.ReasonValue, "no minus"},
		{"a torque beyond every wrench", sealed("1;100000.1;Nm;;R;;"), device.ReasonValue, "at most 100000 N·m"},
		{"a torque beyond the integer", sealed("1;99999999999999999999;Nm;;R;;"), device.ReasonValue, "at most 100000 N·m"},
		{"an angle beyond every turn", sealed("1;45.2;Nm;36000.1;R;;"), device.ReasonValue, "at most 36000°"},
		{"an angle beyond every turn back", sealed("1;45.2;Nm;-36000.1;R;;"), device.ReasonValue, "at most 36000°"},
		{"an angle beyond the integer", sealed("1;45.2;Nm;99999999999999999999;R;;"), device.ReasonValue, "at most 36000°"},
	} {
		t.Run(c.rule, func(t *testing.T) {
			got := decode(mustBuiltin(t), c.line)
			r := got.Refusal
			if r == nil || r.Reason != c.reason || !strings.Contains(r.Detail, c.detail) || string(r.Raw) != c.line || r.Wrench != "TW-01" {
				t.Errorf("%q: got %+v, want a refusal for %q with %q", c.line, r, c.reason, c.detail)
			}
			if got.Reading != nil || got.Ignored {
				t.Errorf("%q: got %+v, want a refusal and nothing else", c.line, got)
			}
		})
	}
}

func TestProfile_AtTheLimits(t *testing.T) {
	for _, line := range []string{
		sealed("0;100000;Nm;36000;R;;"), sealed("9223372036854775807;0;Nm;-36000;R;;"), sealed("007;-0.0;Nm; ;R;;"),
		sealed("1; 45.2 ;Nm;;R;;"),
	} {
		if got := decode(mustBuiltin(t), line); got.Reading == nil {
			t.Errorf("%q: got %+v, want a reading", line, got.Refusal)
		}
	}
}

func TestProfile_FaultsOfTheFrame(t *testing.T) {
	p := mustBuiltin(t)
	for _, reason := range []string{device.ReasonTorn, device.ReasonTooLong, device.ReasonNUL} {
		raw := bytes.Repeat([]byte("!"), device.MaxRaw+1) // an ignored beginning, and more than is kept
		got := p.Decode("TW-01", frame.Frame{Bytes: raw, Fault: reason}).Refusal
		if got == nil || got.Reason != reason || got.Detail == "" || strings.Contains(got.Detail, "%!") || len(got.Raw) != device.MaxRaw {
			t.Errorf("%s: got %+v, want a refusal with that reason, a detail and %d bytes", reason, got, device.MaxRaw)
		}
	}
}

func TestProfile_Ignored(t *testing.T) {
	if got, want := decode(mustBuiltin(t), "!battery low\r\n"), (Result{Ignored: true}); !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v, want %+v", got, want)
	}
}

func TestProfile_OtherForms(t *testing.T) {
	plainFields := "  separator: \"\\t\"\n  list: [{kind: unread}, {kind: torque, unit: N·m}]\n"
	commaFields := "  separator: \";\"\n  decimal: comma\n  lead: <STX>\n  list:\n    - {kind: serial}\n" +
		"    - {kind: torque, unit: dN·m, decimals: 2, minus: loosens}\n    - {kind: angle, minus: loosens, optional: true}\n"
	for _, c := range []struct {
		rule   string
		p      *Profile
		line   string
		torque unit.Torque
		way    device.Direction
		reason string
	}{
		{"no check", form(t, "{kind: none}", plainFields), "x\t30\n", 30_000_000, device.Tighten, ""},
		{"nothing is read of an unread field", form(t, "{kind: none}", plainFields), "\t30\n", 30_000_000, device.Tighten, ""},
		{"a sum over the line", form(t, "{kind: sum, over: line}", plainFields), "x\t30E4\n", 30_000_000, device.Tighten, ""},
		{"a lower-case check", form(t, "{kind: sum, over: line}", plainFields), "x\t30e4\n", 30_000_000, device.Tighten, ""},
		{"less than a lead and a check", form(t, "{kind: xor, over: line}", "  lead: \"##\"\n"+plainFields), "##A\n", 0, "", device.ReasonForm},
		{"a wrong sum", form(t, "{kind: sum, over: line}", plainFields), "x\t30E5\n", 0, "", device.ReasonChecksum},
		{"a comma and a minus", form(t, "{kind: none}", commaFields), "\x02A7;-12,5;-3,5\n", 1_250_000, device.Loosen, ""},
		{"a zero says no direction", form(t, "{kind: none}", commaFields), "\x02A7;-12,5;0,0\n", 1_250_000, device.Loosen, ""},
		{"a minus at the angle alone", form(t, "{kind: none}", commaFields), "\x02A7;0,0;-3,5\n", 0, device.Loosen, ""},
		{"a plus", form(t, "{kind: none}", commaFields), "\x02A7;+12,5;+3,5\n", 1_250_000, device.Tighten, ""},
		{"signs that do not agree", form(t, "{kind: none}", commaFields), "\x02A7;12,5;-3,5\n", 0, "", device.ReasonValue},
		{"two signs", form(t, "{kind: none}", commaFields), "\x02A7;--12,5;3,5\n", 0, "", device.ReasonForm},
		{"a minus and a plus", form(t, "{kind: none}", commaFields), "\x02A7;-+12,5;3,5\n", 0, "", device.ReasonForm},
		{"a point where a comma is expected", form(t, "{kind: none}", commaFields), "\x02A7;12.5;3,5\n", 0, "", device.ReasonForm},
	} {
		t.Run(c.rule, func(t *testing.T) {
			got := decode(c.p, c.line)
			if c.reason != "" {
				if got.Refusal == nil || got.Refusal.Reason != c.reason {
					t.Errorf("%q: got %+v, want a refusal for %q", c.line, got, c.reason)
				}
				return
			}
			if got.Reading == nil || got.Reading.Torque != c.torque || got.Reading.Direction != c.way {
				t.Fatalf("%q: got %+v %+v, want %d µN·m and %s", c.line, got.Reading, got.Refusal, c.torque, c.way)
			}
		})
	}
}

func TestProfile_Ack(t *testing.T) {
	p := mustBuiltin(t)
	if got, want := p.Ack(device.Reading{Counter: ptr(int64(1042))}), "=1042\r\n"; string(got) != want {
		t.Errorf("got %q, want %q", got, want)
	}
	if got := p.Ack(device.Reading{}); got != nil {
		t.Errorf("a reading without a count: got %q, want none", got)
	}
	silent := form(t, "{kind: none}", "  separator: \";\"\n  list: [{kind: torque, unit: N·m}]\n")
	if got := silent.Ack(device.Reading{Counter: ptr(int64(1))}); got != nil {
		t.Errorf("a form without acknowledgement: got %q, want none", got)
	}
	full := form(t, "{kind: none}", "  separator: \";\"\n  list: [{kind: torque, unit: N·m}, {kind: serial}, {kind: tag}]\nack: <ACK>100%% %serial%/%tag%!\n")
	if got, want := full.Ack(device.Reading{Serial: "A7", Tag: "3"}), "\x06100% A7/3!\n"; string(got) != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestProfile_Mode(t *testing.T) {
	if got, want := mustBuiltin(t).Mode(), (Mode{9600, 8, "none", "1"}); got != want {
		t.Errorf("got %+v, want %+v", got, want)
	}
	if got, want := form(t, "{kind: none}", "  separator: \";\"\n  list: [{kind: torque, unit: N·m}]\n").Mode(), (Mode{4800, 7, "even", "2"}); got != want {
		t.Errorf("got %+v, want %+v", got, want)
	}
}

func TestProfile_FramerIsTheProfiles(t *testing.T) {
	f := form(t, "{kind: none}", "  separator: \";\"\n  list: [{kind: torque, unit: N·m}]\n").NewFramer()
	var got []string
	f.Push([]byte("a\r\nb\n"+strings.Repeat("x", 64)+"\n"), func(f frame.Frame) { got = append(got, fmt.Sprintf("%d %s", len(f.Bytes), f.Fault)) })
	if want := []string{"3 ", "2 ", "65 too long"}; !reflect.DeepEqual(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

// drawReading makes a reading as a wrench of the built-in form might report it.
func drawReading(t *rapid.T, p *Profile) device.Reading {
	units := p.fields.list[2].spelled
	r := device.Reading{
		Wrench: "TW-01", Unit: unit.TorqueUnit(units[rapid.IntRange(0, len(units)-1).Draw(t, "unit")].means),
		Direction: rapid.SampledFrom([]device.Direction{device.Tighten, device.Loosen}).Draw(t, "direction"),
		Counter:   ptr(rapid.Int64Min(0).Draw(t, "count")),
		Clock:     rapid.StringMatching(`([0-9T:-]{1,20})?`).Draw(t, "clock"), Tag: rapid.StringMatching(`([A-Z0-9]{1,8})?`).Draw(t, "tag"),
		Profile: "semicolon-xor 1",
	}
	tenths := rapid.IntRange(0, 20_000).Draw(t, "tenths")
	r.TorqueText = fmt.Sprintf("%d.%d", tenths/10, tenths%10)
	r.Torque, _ = unit.TorqueIn(r.TorqueText, r.Unit)
	if rapid.Bool().Draw(t, "angle sent") {
		r.Angle = ptr(unit.Angle(100 * rapid.IntRange(-10_000, 10_000).Draw(t, "angle")))
	}
	return r
}

func TestProfile_EncodedIsDecoded(t *testing.T) {
	p := mustBuiltin(t)
	rapid.Check(t, func(t *rapid.T) {
		want := drawReading(t, p)
		want.Raw = p.Encode(want)
		got := p.Decode("TW-01", frame.Frame{Bytes: want.Raw})
		if got.Reading == nil || !reflect.DeepEqual(*got.Reading, want) {
			t.Fatalf("%q: got %+v %+v, want %+v", want.Raw, got.Reading, got.Refusal, want)
		}
	})
}

func TestProfile_Encode(t *testing.T) {
	p := mustBuiltin(t)
	r := device.Reading{Torque: 45_249_999, Unit: unit.Nm, Direction: device.Tighten}
	if got, want := string(p.Encode(r)), sealed(";45.2;Nm;;R;;"); got != want {
		t.Errorf("without the wrench's text: got %q, want %q", got, want)
	}
	comma := form(t, "{kind: none}", "  separator: \";\"\n  decimal: comma\n  list:\n    - {kind: torque, unit: dN·m, decimals: 2, minus: loosens}\n"+
		"    - {kind: angle, decimals: 0, minus: loosens, optional: true}\n")
	r = device.Reading{Torque: 45_249_999, TorqueText: "45.25", Unit: unit.Nm, Angle: ptr(unit.Angle(31_400)), Direction: device.Loosen}
	if got, want := string(comma.Encode(r)), "-452,50;-31\n"; got != want {
		t.Errorf("in a form of another unit: got %q, want %q", got, want)
	}
	r = device.Reading{TorqueText: "-12,5", Unit: unit.DNm, Direction: device.Loosen}
	if got, want := string(comma.Encode(r)), "-12,5;\n"; got != want {
		t.Errorf("the wrench's own text: got %q, want %q", got, want)
	}
	if got, want := string(comma.Encode(device.Reading{Unit: unit.Nm, Direction: device.Loosen})), "0,00;\n"; got != want {
		t.Errorf("nothing has no sign: got %q, want %q", got, want)
	}
}

func TestProfile_ASingleFlippedBitIsNeverAReading(t *testing.T) {
	p := mustBuiltin(t)
	line := sealed("1042;45.2;Nm;31.4;R;2026-01-17T09:41:07;7")
	for i := range (len(line) - 2) * 8 {
		spoilt := []byte(line)
		spoilt[i/8] ^= 1 << (i % 8)
		// An upper-case digit of the check may become its lower-case twin, which says the same.
		if got := decode(p, string(spoilt)); got.Reading != nil && !strings.EqualFold(string(spoilt), line) {
			t.Errorf("bit %d of byte %d: got %+v of %q, want none", i%8, i/8, got.Reading, spoilt)
		}
	}
}
