package profile

import (
	"bytes"
	"encoding/hex"
	"reflect"
	"strings"
	"testing"

	"witnessmark/device"
	"witnessmark/device/frame"
	"witnessmark/device/unit"
)

// drawings are the frames that stand in the comments of the built-in profiles, and what each of them says. Their checks
// were reckoned by another program, bit by bit from the parameters in the CRC RevEng catalogue (Greg Cook).
var drawings = map[string]struct {
	frame []string // as the comment has it: bytes in hexadecimal digits, or text with control characters by name
	says  device.Reading
}{
	"semicolon-xor": {[]string{"#1042;45.2;Nm;31.4;R;2026-01-17T09:41:07;M7*57<CR><LF>"},
		device.Reading{TorqueText: "45.2", Counter: ptr[int64](1042), Clock: "2026-01-17T09:41:07", Tag: "M7"}},
	"stx-lrc-columns": {[]string{"<STX>R045.2Nm   31.4RO0700<ETX>}"},
		device.Reading{TorqueText: "045.2", Preset: "07", Judged: device.JudgedPass}},
	"tab-decimal-comma": {[]string{"DT-0417<TAB>1042<TAB>45,2<TAB>Nm<TAB>31.4<TAB>IO<TAB>17.01.2026 09:41:07<TAB>87<CR>"},
		device.Reading{TorqueText: "45,2", Serial: "DT-0417", Counter: ptr[int64](1042), Clock: "17.01.2026 09:41:07",
			Judged: device.JudgedPass, Battery: ptr[int64](87)}},
	"labelled-text-sum": {[]string{"No.1042 TQ=045.2 Nm CW AN=031.4 PR=M7 BAT=87% SUM=6F<CR><LF>"},
		device.Reading{TorqueText: "045.2", Counter: ptr[int64](1042), Tag: "M7", Battery: ptr[int64](87)}},
	"json-line": {[]string{`{"type":"pull","id":"W-204417","seq":1042,"time":"2026-01-17T09:41:07Z","result":{"torque":45.2,"unit":"N.m",`,
		`"angle":31.4,"dir":"cw"},"job":{"program":"P07","bolt":"M7"},"status":["OK","00"],"charge":0.87,"buffered":false}<LF>`},
		device.Reading{TorqueText: "45.2", Serial: "W-204417", Counter: ptr[int64](1042), Clock: "2026-01-17T09:41:07Z",
			Preset: "P07", Tag: "M7", Judged: device.JudgedPass, Battery: ptr[int64](87)}},
	"bar-hex-crc16": {[]string{"<SOH>01|R|1042|45.2|Nm|31.4|+|20260117094107|M7|L|B6F4<EOT>"},
		device.Reading{TorqueText: "45.2", Serial: "01", Counter: ptr[int64](1042), Clock: "20260117094107", Tag: "M7"}},
	"columns-stored-lrc": {[]string{":1042 2026-01-17T09:41:07 +045.2 +031.4 Nm   OK L69<CR><LF>"},
		device.Reading{TorqueText: "+045.2", Counter: ptr[int64](1042), Clock: "2026-01-17T09:41:07", Judged: device.JudgedPass}},
	"counted-text-sum": {[]string{"01 1B ", "1042,45.2,31.4,R,P07,M7,OK", " 60"},
		device.Reading{TorqueText: "45.2", Unit: unit.KgfCm, Counter: ptr[int64](1042), Preset: "P07", Tag: "M7", Judged: device.JudgedPass}},
	"fixed-binary-crc16": {[]string{"A5 5A 01 02 12 04 00 00 33 59 6B 69 90 B0 00 00 3A 01 57 00 00 20 44 17 07 00 7D EF"},
		device.Reading{TorqueText: "45.200", Serial: "00204417", Counter: ptr[int64](1042), Clock: "2026-01-17T09:41:07Z",
			Preset: "7", Judged: device.JudgedPass, Battery: ptr[int64](87)}},
	"counted-floats-crc32": {[]string{"7E 27 00 52 00 01 CD CC 34 42 66 66 66 66 66 66 3F 40 04 12 00 00 26 01 17 09 41 07",
		"57 32 30 34 34 31 37 00 4D 37 00 00 AE 01 A8 BB 43 5F"},
		device.Reading{TorqueText: "45.2", Serial: "W204417", Counter: ptr[int64](1042), Clock: "260117094107", Tag: "M7",
			Judged: device.JudgedPass, Battery: ptr[int64](87)}},
	"gap-bcd-crc8": {[]string{"11 52 00 45 20 03 14 52 4E 6D 20 10 42 00 F4"},
		device.Reading{TorqueText: "45.20", Counter: ptr[int64](1042)}},
	"registers-swapped-floats": {[]string{"54 57 04 12 00 00 CC CD 42 34 33 33 41 FB 00 02 00 00 59 33 69 6B 32 30 34 34 31 37"},
		device.Reading{TorqueText: "45.2", Serial: "204417", Counter: ptr[int64](1042), Clock: "2026-01-17T09:41:07Z", Judged: device.JudgedPass}},
	"registers-scaled-integers": {[]string{"54 49 04 12 00 00 B0 90 01 3A 03 66 00 00 00 07"},
		device.Reading{TorqueText: "45.200", Counter: ptr[int64](1042), Preset: "7", Battery: ptr[int64](87)}},
}

// drawnBytes gives the bytes of a frame that is drawn.
func drawnBytes(t testing.TB, parts []string) (b []byte) {
	t.Helper()
	for _, part := range parts {
		digits, err := hex.DecodeString(strings.ReplaceAll(part, " ", ""))
		if err != nil {
			if digits, err = wireBytes(part); err != nil {
				t.Fatal(err)
			}
		}
		b = append(b, digits...)
	}
	return b
}

func builtins(t testing.TB) map[string]*Profile {
	t.Helper()
	all := map[string]*Profile{}
	for _, name := range BuiltinNames() {
		p, err := Builtin(name)
		if err != nil {
			t.Fatal(err)
		}
		all[name] = p
	}
	return all
}

// What stands at the head of a file is what its reader looks at: the frame drawn there must be one, and say what the
// comment says.
func TestBuiltin_TheDrawnFrameIsTheReading(t *testing.T) {
	for name, p := range builtins(t) {
		text, err := builtin.ReadFile("builtin/" + name + ".yaml")
		if err != nil {
			t.Fatal(err)
		}
		for _, part := range drawings[name].frame {
			if !strings.Contains(string(text), part) {
				t.Errorf("%s: got no frame with %s in the comments, want one", name, part)
			}
		}
		if !strings.Contains(string(text), "# Choose it when ") {
			t.Errorf("%s: got no word on when to choose it, want one", name)
		}
		want := drawings[name].says
		want.Wrench, want.Direction, want.Profile, want.Raw = "TW-01", device.Tighten, name+" 1", drawnBytes(t, drawings[name].frame)
		if want.Unit == "" {
			want.Unit = unit.Nm
		}
		want.Angle = ptr(unit.Angle(31_400))
		if want.Torque, err = unit.TorqueIn("45.2", want.Unit); err != nil {
			t.Fatal(err)
		}
		got := p.Decode("TW-01", frame.Frame{Bytes: want.Raw})
		if got.Reading == nil || !reflect.DeepEqual(*got.Reading, want) {
			t.Errorf("%s: got  %+v %+v\nwant %+v", name, got.Reading, got.Refusal, want)
		}
	}
}

// through gives what becomes of bytes that come as they are and are followed by a silence.
func through(p *Profile, stream []byte) (all []Result) {
	f := p.NewFramer()
	take := func(f frame.Frame) { all = append(all, p.Decode("TW-01", f)) }
	f.Push(stream, take)
	f.Silence(take)
	return all
}

// A check or a number can be any byte, one that ends a line or a NUL too.
func TestBuiltin_EveryWrittenReadingIsRead(t *testing.T) {
	for name, p := range builtins(t) {
		r := p.Decode("TW-01", frame.Frame{Bytes: drawnBytes(t, drawings[name].frame)}).Reading
		for i := range int64(2000) {
			r.TorqueText = ""
			r.Torque = unit.Torque(i) * unit.NewtonMetre / 10
			if r.Counter != nil {
				r.Counter = &i
			}
			f := p.Encode(*r)
			all := through(p, f)
			if len(all) != 1 || all[0].Reading == nil {
				t.Errorf("%s: got %+v of %q, want one reading", name, all, f)
				break
			}
			got := all[0].Reading
			if r.Counter != nil && *got.Counter != i || r.Unit == unit.Nm && got.Torque != r.Torque {
				t.Errorf("%s: got %s N·m, counter %v of %q, want %s N·m, counter %d", name, got.Torque, got.Counter, f, r.Torque, i)
				break
			}
		}
	}
}

// A frame with a check is read as it was sent or not at all. (A check in hexadecimal digits may come in lower case.)
func TestBuiltin_ASingleFlippedBitIsNeverAnotherReading(t *testing.T) {
	for name, p := range builtins(t) {
		if p.check.sum == nil {
			continue
		}
		f := drawnBytes(t, drawings[name].frame)
		sent := p.Decode("TW-01", frame.Frame{Bytes: f}).Reading
		for i := range 8 * len(f) {
			spoilt := bytes.Clone(f)
			spoilt[i/8] ^= 1 << (i % 8)
			for _, got := range through(p, append(spoilt, f...)) {
				if got.Reading == nil {
					continue
				}
				if got.Reading.Raw = sent.Raw; !reflect.DeepEqual(got.Reading, sent) {
					t.Errorf("%s: bit %d of byte %d: got %+v, want %+v or nothing", name, i%8, i/8, got.Reading, sent)
				}
			}
		}
	}
}
