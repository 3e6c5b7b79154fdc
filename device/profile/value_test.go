package profile

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
	"witnessmark/device"
	"witnessmark/device/frame"
	"witnessmark/device/unit"
)

// lines makes a profile of lines without a check.
func lines(t testing.TB, fields string) *Profile {
	t.Helper()
	return mustParse(t, head+serial+"frame: {end: LF, max: 512}\nfields: "+fields+"\n")
}

// bytesOf makes a profile of bytes without a check.
func bytesOf(t testing.TB, length int, list string) *Profile {
	t.Helper()
	return mustParse(t, fmt.Sprintf("%s%sframe: {length: %d}\nfields: {binary: true, list: [%s]}\n", head, serial, length, list))
}

// said is a reading in few words.
func said(r *device.Reading) string {
	words := []string{r.TorqueText, string(r.Unit)}
	if r.Angle != nil {
		words = append(words, r.Angle.String())
	}
	if r.Counter != nil {
		words = append(words, fmt.Sprint("#", *r.Counter))
	}
	if r.Battery != nil {
		words = append(words, fmt.Sprint(*r.Battery, "%"))
	}
	if r.Direction == device.Loosen {
		words = append(words, "loosened")
	}
	return strings.Join(append(words, r.Clock+r.Serial+r.Tag+r.Preset+r.ErrorCode+string(r.Judged)), " ")
}

const torqueHere = "{kind: torque, unit: N·m}"

func TestDecode_ByForm(t *testing.T) {
	columns := lines(t, `{columns: true, list: [{kind: torque, unit: N·m, at: 1..6}, {kind: angle, at: 8..12}, {kind: tag, at: 14..16, optional: true}]}`)
	pattern := lines(t, `{lead: ">", pattern: 'T(?P<torque>\S+)(?: A(?P<angle>\S+))?', list: [{kind: torque, unit: N·m}, {kind: angle, optional: true}]}`)
	object := lines(t, `{json: true, list: [{kind: torque, unit: N·m, at: t}, {kind: angle, at: a.1, optional: true}, {kind: tag, at: o.tag, optional: true}]}`)
	blanks := lines(t, `{separator: " ", list: [{kind: torque, unit: N·m}, {kind: angle, none: "--"}, {kind: tag}]}`)
	double := lines(t, `{separator: "||", list: [{kind: torque, unit: N·m}, {kind: tag, optional: true}]}`)
	for _, c := range []struct {
		rule string
		p    *Profile
		line string
		want string // what is said, or the reason and a word of the detail
	}{
		{"columns", columns, "  45.2  31.4 M7 ", "45.2 N·m 31.4° M7"},
		{"columns that may be empty may be missing", columns, "  45.2  31.4", "45.2 N·m 31.4° "},
		{"blanks behind the columns", columns, "  45.2  31.4 M7       ", "45.2 N·m 31.4° M7"},
		{"a lost column", columns, "  45.2 31.4", "form: 11 columns"},
		{"a column too many", columns, "  45.2  31.4 M7  x", "form: 18 columns"},
		{"a column that must not be empty", columns, "        31.4", "form: nothing for torque"},
		{"a pattern", pattern, ">T45.2 A31.4", "45.2 N·m 31.4° "},
		{"a group that is not there", pattern, ">T45.2", "45.2 N·m "},
		{"a pattern that fits the beginning only", pattern, ">T45.2 A31.4 B", "form: fits the pattern"},
		{"a pattern that fits the end only", pattern, "T>T45.2", "form: begin"},
		{"an object", object, `{"t":45.2,"a":[0,31.4],"o":{"tag":"M7"}}`, "45.2 N·m 31.4° M7"},
		{"an object with blanks and what nobody asked for", object, ` { "x" : [ ] , "t" : "45.2" , "a" : [ { } , null ], "y":{"t":1} } `, "45.2 N·m "},
		{"keys and texts with escapes", object, `{"\u0074":45.2,"o":{"tag":"M\u0037\/\"\\"}}`, `45.2 N·m M7/"\`},
		{"a plain value where an object is looked into", object, `{"t":45.2,"o":7,"a":true}`, "45.2 N·m "},
		{"a number with an exponent", object, `{"t":4.52e1}`, `form: "4.52e1"`},
		{"true for a number", object, `{"t":true}`, `form: "true"`},
		{"no value for what must be there", object, `{"a":[0,1]}`, "form: nothing for torque"},
		{"null for what must be there", object, `{"t":null}`, "form: nothing for torque"},
		{"a list for a number", object, `{"t":[45.2]}`, "form: an object or a list for a field"},
		{"the same key twice", object, `{"t":45.2,"t":1}`, "form: a field for the second time at byte 16"},
		{"a list instead of an object", object, `[45.2]`, "form: expected a JSON object"},
		{"an object and more", object, `{"t":45.2}{}`, "form: more behind the object at byte 11"},
		{"an object without an end", object, `{"t":45.2`, "form: no comma or closing brace at byte 10"},
		{"objects too deep", object, `{"x":` + strings.Repeat("[", 20), "form: too deep"},
		{"a text that cannot be printed", object, `{"t":45.2,"o":{"tag":"\u00b7"}}`, "form: printable"},
		{"blanks count as one", blanks, "  45.2    31.4 M7 ", "45.2 N·m 31.4° M7"},
		{"nothing between blanks", blanks, "45.2 -- M7", "45.2 N·m M7"},
		{"a field too few between blanks", blanks, "45.2 M7  ", "form: found 2 fields"},
		{"a field too many between blanks", blanks, "45.2 1 M7 x y", "form: found 5 fields"},
		{"a line of blanks", blanks, "   ", "form: found 1 fields"},
		{"a separator of two characters", double, "45.2||M|7", "45.2 N·m M|7"},
		{"half of such a separator", double, "45.2|M7", "form: found 1 fields"},
		{"texts beyond all bounds", double, "45.2||" + strings.Repeat("x", maxText), "form: at most 256"},
		{"as much text as is kept", double, "45.2||" + strings.Repeat("x", maxText-4), "45.2 N·m " + strings.Repeat("x", maxText-4)},
	} {
		t.Run(c.rule, func(t *testing.T) { mustSay(t, c.p.Decode("TW-01", frame.Frame{Bytes: []byte(c.line + "\n")}), c.want) })
	}
}

func mustSay(t *testing.T, res Result, want string) {
	t.Helper()
	reason, word, refused := strings.Cut(want, ": ")
	switch {
	case refused && (res.Refusal == nil || res.Refusal.Reason != reason || !strings.Contains(res.Refusal.Detail, word)):
		t.Errorf("got %+v %+v, want it refused for its %s with %q", res.Reading, res.Refusal, reason, word)
	case !refused && (res.Reading == nil || said(res.Reading) != want):
		t.Errorf("got %+v %+v, want %s", res.Reading, res.Refusal, want)
	}
}

func TestDecode_Values(t *testing.T) {
	for _, c := range []struct{ rule, field, text, want string }{
		{"a battery that is more than full", "{kind: battery}", "101", "value: 0 to 100 percent"},
		{"a battery below nothing", "{kind: battery}", "-1", "value: 0 to 100 percent"},
		{"a battery at a half", "{kind: battery}", "87.5", "1 N·m 88% "},
		{"a battery as a part of one", "{kind: battery, scale: 100}", "0.87", "1 N·m 87% "},
		{"a battery beyond every number", "{kind: battery}", "99999999999999999999999", "value: can be measured"},
		{"an angle that is scaled", "{kind: angle, scale: 0.25}", "125.6", "1 N·m 31.4° "},
		{"an angle below zero", "{kind: angle}", "-3", "1 N·m -3° "},
		{"an angle below zero where it cannot be", "{kind: angle, minus: refused}", "-3", "value: no minus"},
		{"an angle with digits beyond every number", "{kind: angle, scale: 0.00000001}", "1.00000000000000000000000000001", "value: at most 36000°"},
		{"no error", "{kind: error, none: \"00\"}", "00", "1 N·m "},
		{"an error", "{kind: error, none: \"00\"}", "17", "1 N·m 17"},
		{"nothing for what may be missing", "{kind: counter, none: \"----\"}", "----", "1 N·m "},
		{"nothing at all for it", "{kind: counter, none: \"----\"}", "", "1 N·m "},
		{"a judgement", "{kind: judgement, spelled: {\"1\": pass, \"2\": low}}", "2", "1 N·m low"},
		{"a judgement that is not spelled", "{kind: judgement, spelled: {\"1\": pass, \"2\": low}}", "3", "form: 1 or 2"},
		{"neither yes nor no", "{kind: stored, yes: M, no: L}", "X", "form: M or L"},
		{"a spelling with its bytes in digits", "{kind: judgement, spelled: {\"N<B7>m\": pass}}", "N\xb7m", "1 N·m pass"},
		{"a comma for one number only", "{kind: angle, decimal: comma}", "31,4", "1 N·m 31.4° "},
	} {
		t.Run(c.rule, func(t *testing.T) {
			p := lines(t, `{separator: ";", list: [`+torqueHere+", "+c.field+`]}`)
			mustSay(t, p.Decode("TW-01", frame.Frame{Bytes: []byte("1;" + c.text + "\n")}), c.want)
		})
	}
}

func TestDecode_NumbersInBytes(t *testing.T) {
	be := func(bits uint64, size int) string {
		var b []byte
		for i := size - 1; i >= 0; i-- {
			b = append(b, byte(bits>>(8*i)))
		}
		return string(b)
	}
	single := func(v float64) string { return be(uint64(math.Float32bits(float32(v))), 4) }
	double := func(v float64) string { return be(math.Float64bits(v), 8) }
	for _, c := range []struct {
		rule, field, bytes, want string
	}{
		{"the largest natural number", "as: u32, scale: 0.00001", "\xff\xff\xff\xff", "42949.67295 N·m "},
		{"the least integer", "as: i8, minus: loosens", "\x80", "128 N·m loosened "},
		{"one below zero", "as: i32, minus: loosens, scale: 0.1", "\xff\xff\xff\xff", "0.1 N·m loosened "},
		{"an integer below zero where there is none", "as: i16", "\xff\xff", "value: no minus"},
		{"the low byte first", "as: u16, order: little", "\xc4\x01", "452 N·m "},
		{"the low word first", "as: u32, order: word-swapped", "\x00\x02\x00\x01", "65538 N·m "},
		{"bits of a byte", "as: u8, bit: 4..6", "\xd3", "5 N·m "},
		{"a single float", "as: f32", single(45.2), "45.2 N·m "},
		{"a single float below zero", "as: f32, minus: loosens", single(-45.2), "45.2 N·m loosened "},
		{"a double float, the low byte first", "as: f64, order: little", "\x9a\x99\x99\x99\x99\x99\x46\x40", "45.2 N·m "},
		{"a float that is scaled", "as: f32, scale: 10", single(4.52), "45.20 N·m "},
		{"no number", "as: f32", single(math.NaN()), "value: NaN"},
		{"infinity", "as: f64", double(math.Inf(1)), "value: +Inf"},
		{"the largest float", "as: f64", double(math.MaxFloat64), "value: e+308"},
		{"a float beyond every wrench", "as: f32", single(100_001), "value: at most 100000 N·m"},
		{"what is left of a sum that should be nothing", "as: f64", double(5.5e-17), "0 N·m "},
		{"packed digits", "as: bcd3, scale: 0.01", "\x00\x45\x20", "45.20 N·m "},
		{"packed digits, the low ones first", "as: bcd2, order: little", "\x52\x04", "0452 N·m "},
		{"a packed digit that is none", "as: bcd2", "\x04\x5a", "form: two decimal digits"},
		{"a high packed digit that is none", "as: bcd2", "\xa4\x50", "form: two decimal digits"},
		{"text", "as: text6", " 45.2\x00", "45.2 N·m "},
		{"text of NUL only", "as: text4", "\x00\x00\x00\x00", "form: nothing for torque"},
	} {
		t.Run(c.rule, func(t *testing.T) {
			p := bytesOf(t, max(2, len(c.bytes)), "{kind: torque, at: 0, unit: N·m, "+c.field+"}")
			f := []byte(c.bytes)
			if len(f) < 2 {
				f = append(f, 0)
			}
			res := p.Decode("TW-01", frame.Frame{Bytes: f})
			if res.Reading != nil {
				res.Reading.TorqueText = strings.TrimPrefix(res.Reading.TorqueText, "-") // what it was written with
			}
			mustSay(t, res, c.want)
		})
	}
}

func TestDecode_ClockInBytes(t *testing.T) {
	p := bytesOf(t, 6, "{kind: torque, at: 0, as: u16, unit: N·m}, {kind: clock, at: 2, as: u32, epoch: unix}")
	for bytes, want := range map[string]string{
		"\x00\x01\x00\x00\x00\x00": "1970-01-01T00:00:00Z",
		"\x00\x01\x69\x6b\x59\x33": "2026-01-17T09:41:07Z",
		"\x00\x01\xff\xff\xff\xff": "2106-02-07T06:28:15Z", // the last second of 32 bits
	} {
		got := p.Decode("TW-01", frame.Frame{Bytes: []byte(bytes)}).Reading
		if got == nil || got.Clock != want {
			t.Errorf("%x: got %+v, want %s", bytes, got, want)
		}
	}
}

// A frame of text is JSON if the library says so; only the same key twice and depth are our own.
func TestDecode_WhatIsJSON(t *testing.T) {
	p := lines(t, `{json: true, list: [{kind: torque, unit: N·m, at: t}]}`)
	piece := rapid.SampledFrom([]string{"{", "}", "[", "]", ",", ":", `"`, `"a"`, `"\u00e9\n"`, `"\x"`, "\\", "0", "-1", "01", "1.", "2.50", "1e5", "1E+", "true", "false", "null", "nul", "\"\x01\"", `"\"\u12g4"`, " ", "\t", `"a":1`, `"b":[]`, "\x01"})
	rapid.Check(t, func(t *rapid.T) {
		line := `{"t":1,"x":` + strings.Join(rapid.SliceOfN(piece, 0, 8).Draw(t, "pieces"), "") + "}"
		res := p.Decode("TW-01", frame.Frame{Bytes: []byte(line + "\n")})
		if valid := json.Valid([]byte(line)); valid != (res.Reading != nil) {
			t.Fatalf("%q: got %+v %+v, want a reading: %t", line, res.Reading, res.Refusal, valid)
		}
	})
}

// A line of 7 bits cannot carry the eighth of a check.
func TestDecode_ACheckOfSevenBits(t *testing.T) {
	text := head + "serial: {baud: 9600, bits: 7, parity: even, stop: 1}\nframe: {start: \"<STX>\", end: \"<ETX>\", after: 1, max: 64}\n" +
		"check: {kind: sum, over: inside}\nfields: {separator: \";\", list: [" + torqueHere + ", {kind: counter}]}\n"
	// 34 2E 35 3B and one, two or ten times 37: their sums are 109h, 140h and 2F8h
	p := mustParse(t, text)
	for line, want := range map[string]string{"\x024.5;7\x03\x09": "4.5 N·m #7 ", "\x024.5;77\x03\x40": "4.5 N·m #77 ", "\x024.5;7777777777\x03\x78": "4.5 N·m #7777777777 ", "\x024.5;77\x03\x41": "checksum: 41"} {
		mustSay(t, p.Decode("TW-01", frame.Frame{Bytes: []byte(line)}), want)
	}
	eight := mustParse(t, strings.Replace(text, "bits: 7", "bits: 8", 1))
	mustSay(t, eight.Decode("TW-01", frame.Frame{Bytes: []byte("\x024.5;7777777777\x03\xf8")}), "4.5 N·m #7777777777 ")
	mustSay(t, eight.Decode("TW-01", frame.Frame{Bytes: []byte("\x024.5;7777777777\x03\x78")}), "checksum: found check 78")
}

func TestEncode_WhatTheFormHasNoRoomFor(t *testing.T) {
	r := device.Reading{Torque: 100 * unit.NewtonMetre, TorqueText: "100", Unit: unit.Nm, Tag: "LONG", Counter: ptr[int64](70_000)}
	for rule, p := range map[string]*Profile{
		"a column":            lines(t, "{columns: true, list: [{kind: torque, unit: N·m, at: 1..2}]}"),
		"a byte":              bytesOf(t, 2, "{kind: torque, unit: N·m, at: 0, as: i8, scale: 0.1}"),
		"two bytes":           bytesOf(t, 4, "{kind: torque, unit: N·m, at: 0, as: u8}, {kind: counter, at: 2, as: u16}"),
		"a text":              bytesOf(t, 4, "{kind: torque, unit: N·m, at: 0, as: u8}, {kind: tag, at: 1, as: text3}"),
		"packed digits":       bytesOf(t, 2, "{kind: torque, unit: N·m, at: 0, as: bcd1}"),
		"a pattern":           lines(t, "{pattern: '(?P<torque>[0-9]+) (?P<tag>[a-z]+)', list: [{kind: torque, unit: N·m}, {kind: tag}]}"),
		"the longest frame":   mustParse(t, head+serial+"frame: {end: LF, max: 8}\nfields: {separator: \";\", list: ["+torqueHere+", {kind: tag}]}\n"),
		"a frame of a length": mustParse(t, head+serial+"frame: {length: 6}\nfields: {separator: \";\", list: ["+torqueHere+", {kind: tag}]}\n"),
		"what frames it":      mustParse(t, head+serial+"frame: {length: {at: 6, as: u16}, max: 8}\ncheck: {kind: CRC-32/ISO-HDLC, over: line}\nfields: {binary: true, list: [{kind: torque, unit: N·m, at: 0, as: u8}]}\n"),
		"a length field":      mustParse(t, head+serial+"frame: {length: {at: 0, as: u8, plus: 9}, max: 64}\nfields: {separator: \";\", list: ["+torqueHere+"]}\n"),
	} {
		if got := p.Encode(r); got != nil {
			t.Errorf("%s: got %q, want nothing", rule, got)
		}
	}
}

// A pattern is written in its shortest way, with the first printable character where there are several.
func TestEncode_Patterns(t *testing.T) {
	r := device.Reading{TorqueText: "45.2", Unit: unit.Nm, Tag: "M7"}
	for pattern, want := range map[string]string{
		`(?P<torque>[\d.]+)(?: tag (?P<tag>\w+))?`:        "45.2 tag M7",
		`[A-Z]{2,3}(?P<torque>.+)(x|y)+(?P<tag>\w*)z*`:    "AA45.2xM7",
		`(?:none|(?P<tag>\w+)):\s+(?P<torque>.*)`:         "M7: 45.2",
		`\bT(?P<torque>\S+).(?:a|b(?P<tag>\w+)|c)`:        "T45.2 bM7",
		`(?P<torque>[\d.]+)(?: (?P<tag>..)){0,2}`:         "45.2 M7",
		`[\x01-\x40](?P<torque>[^ ]*)(?: (?P<tag>..)){1}`: " 45.2 M7",
	} {
		p := lines(t, "{pattern: '"+pattern+"', list: [{kind: torque, unit: N·m}, {kind: tag, optional: true}]}")
		if got := string(p.Encode(r)); got != want+"\n" {
			t.Errorf("%s: got %q, want %q", pattern, got, want)
		}
	}
}
