package profile

import (
	"fmt"
	"reflect"
	"slices"
	"testing"

	"pgregory.net/rapid"
	"witnessmark/device"
	"witnessmark/device/frame"
	"witnessmark/device/unit"
)

// head begins a profile of the tests.
const head = "format: witnessmark/wrench/1\nname: test\nversion: \"1\"\n"

const serial = "serial: {baud: 9600, bits: 8, parity: none, stop: 1}\n"

// formTexts are profiles that between them hold every form of frame, check and field.
var formTexts = map[string]string{
	"separator": head + serial + `frame: {end: CRLF, max: 200}
check: {kind: CRC-16/XMODEM, over: inside, mark: "*"}
fields:
  lead: "$T"
  separator: ","
  list:
    - {name: form, kind: fixed, is: V2}
    - {name: count, kind: counter}
    - {name: final torque, kind: torque, decimals: 2}
    - {name: unit, kind: unit, spelled: {Nm: N·m, "ft<2E>lb": lbf·ft, cNm: cN·m}}
    - {name: final angle, kind: angle, decimals: 1, none: "-"}
    - {name: direction, kind: direction, tighten: CW, loosen: CCW}
    - {name: judged, kind: judgement, spelled: {OK: pass, LO: low, HI: high, NG: fail}, optional: true}
    - {name: battery, kind: battery, optional: true}
    - {name: error, kind: error, none: "00"}
    - {name: stored, kind: stored, yes: M, no: L}
    - {name: preset, kind: preset, optional: true}
    - {name: tag, kind: tag, optional: true}
    - {name: clock, kind: clock, optional: true}
    - {name: serial, kind: serial}
    - {name: checked by the wrench, kind: unread}
`,
	"columns": head + `serial: {baud: 9600, bits: 7, parity: even, stop: 1}
frame: {start: "<STX>", end: "<ETX>", after: 1, max: 64}
check: {kind: xor, over: through}
fields:
  columns: true
  decimal: comma
  list:
    - {kind: counter, at: 1..5}
    - {kind: torque, at: 7..14, unit: N·m, decimals: 1, scale: 0.5, minus: loosens}
    - {kind: angle, at: 16..22, decimals: 1, minus: loosens, optional: true}
    - {kind: fixed, at: 24, is: "T"}
    - {kind: tag, at: 25..30, optional: true}
    - {kind: judgement, at: 31, spelled: {P: pass, L: low, H: high, F: fail}, optional: true}
`,
	"pattern": head + serial + `frame: {end: LF, max: 128}
fields:
  pattern: '(?i:tool) (?P<serial>[A-Z]+[0-9]+)(?: #(?P<count>[0-9]+))?: +(?P<torque>-?[0-9]+\.[0-9]+) ?(?P<unit>Nm|lbft)(?: (?P<angle>-?[0-9.]+) ?deg| no angle) (?P<way>on|off)(?: by (?P<tag>\S*))?'
  list:
    - {name: serial, kind: serial}
    - {name: count, kind: counter, optional: true}
    - {name: torque, kind: torque, decimals: 3}
    - {name: unit, kind: unit, spelled: {Nm: N·m, lbft: lbf·ft}}
    - {name: angle, kind: angle, optional: true}
    - {name: way, kind: direction, tighten: "on", loosen: "off"}
    - {name: tag, kind: tag, optional: true}
`,
	"json": head + serial + `frame: {gap: 40 ms, max: 300}
fields:
  json: true
  list:
    - {name: torque, kind: torque, at: result.torque.value}
    - {name: unit, kind: unit, at: result.torque.unit, spelled: {N·m: N·m, lbf·ft: lbf·ft}}
    - {name: angle, kind: angle, at: result.angle, optional: true}
    - {name: ccw, kind: direction, at: result.ccw, tighten: "false", loosen: "true"}
    - {name: n, kind: counter, at: n}
    - {name: battery, kind: battery, at: state.1, scale: 0.5, optional: true}
    - {name: serial, kind: serial, at: state.0}
    - {name: tag, kind: tag, at: tag, optional: true}
    - {name: stored, kind: stored, at: stored, yes: "true", no: "false"}
`,
	"binary fixed": head + serial + `frame: {start: "<A5><5A>", length: 44}
check: {kind: CRC-16/MODBUS, over: {from: 2, to: -2}, order: low first}
fields:
  binary: true
  order: little
  list:
    - {kind: counter, at: 2, as: u32}
    - {kind: torque, at: 6, as: i32, scale: 0.01, minus: loosens, unit: N·m}
    - {kind: angle, at: 10, as: i16, scale: 0.1, order: big, minus: loosens, none: "-32768"}
    - {kind: judgement, at: 12, as: u8, bit: 0..2, spelled: {"1": pass, "2": low, "3": high, "4": fail}, none: "0"}
    - {kind: stored, at: 12, as: u8, bit: 7, yes: "1", no: "0"}
    - {kind: battery, at: 13, as: u8, none: "255"}
    - {kind: clock, at: 14, as: u32, epoch: unix}
    - {kind: serial, at: 18, as: text8}
    - {kind: tag, at: 26, as: text6, optional: true}
    - {kind: error, at: 32, as: u16, none: "0"}
    - {kind: preset, at: 34, as: bcd2, order: big}
    - {kind: unread, at: 36, as: u32}
`,
	"binary counted": head + serial + `frame: {start: "<01>", length: {at: 1, as: u8, plus: 2}, max: 64}
check: {kind: sum-negated, over: {from: 3}, at: 2}
fields:
  binary: true
  list:
    - {kind: unit, at: 3, as: u8, spelled: {"0": N·m, "1": lbf·ft, "2": kgf·cm}}
    - {kind: torque, at: 4, as: f32, decimals: 3}
    - {kind: angle, at: 8, as: f64, decimals: 2, none: NaN}
    - {kind: direction, at: 16, as: u8, tighten: "0", loosen: "1"}
    - {kind: counter, at: 17, as: bcd3}
`,
	"text counted": head + serial + `frame: {start: "<02>", length: {at: 1, as: u16, order: little}, max: 100}
check: {kind: CRC-32/ISO-HDLC, over: line, sent: hex, order: low first}
fields:
  separator: " "
  list:
    - {kind: torque, decimal: comma, unit: lbf·in}
    - {kind: angle, none: "---"}
    - {kind: counter}
`,
	"text fixed": head + serial + `frame: {start: ">", length: 40}
check: {kind: lrc, over: inside, sent: hex}
fields:
  lead: "R"
  separator: ";"
  list:
    - {kind: torque, unit: N·m, scale: 0.001}
    - {kind: counter}
    - {kind: tag, optional: true}
`,
	"check in front": head + serial + `frame: {end: ";;", max: 60}
check: {kind: sum, over: {from: 2, to: -2}, at: 0}
fields:
  lead: "T="
  separator: "/"
  list:
    - {kind: torque, unit: N·m}
    - {kind: angle}
    - {kind: counter}
`,
	"registers": head + `registers: {unit: 1, table: holding, from: 100, count: 8, every: 200 ms, changes: count, accepted: {register: 200, value: counter}, pass: {register: 201, value: 1}, fail: {register: 201, value: 2}}
fields:
  binary: true
  list:
    - {name: count, kind: counter, at: 0, as: u32, order: word-swapped}
    - {name: torque, kind: torque, at: 4, as: f32, order: word-swapped, unit: N·m}
    - {name: angle, kind: angle, at: 8, as: i16, scale: 0.1}
    - {name: way, kind: direction, at: 10, as: u16, tighten: "0", loosen: "1"}
    - {name: tag, kind: tag, at: 12, as: text4, optional: true}
`,
}

func formNames() []string {
	var names []string
	for name := range formTexts {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

func mustParse(t testing.TB, text string) *Profile {
	t.Helper()
	p, err := Parse("test.yaml", []byte(text))
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	return p
}

// drawFor makes a reading as a wrench of this form might report it, with no more digits than the form has.
func drawFor(t *rapid.T, p *Profile) device.Reading {
	fs := &p.fields
	r := device.Reading{Wrench: "TW-01", Direction: device.Tighten, Profile: "test 1"}
	if fs.has(kindDirection) || slices.ContainsFunc(fs.list, func(f field) bool { return f.minus == minusLoosens }) {
		r.Direction = rapid.SampledFrom([]device.Direction{device.Tighten, device.Loosen}).Draw(t, "direction")
	}
	for i := range fs.list {
		f := &fs.list[i]
		if f.optional && f.kind != kindError && rapid.Bool().Draw(t, "without "+f.name) {
			continue
		}
		drawField(t, f, &r)
	}
	torque, offered := fs.units()
	r.Unit = unit.TorqueUnit(rapid.SampledFrom(offered).Draw(t, "unit").means)
	steps := rapid.Uint64Range(1, 20_000).Draw(t, "torque")
	var room numberRoom
	n, _ := torque.scale.of(decimal{value: steps, places: torque.decimals})
	r.TorqueText = string(n.write(&room))
	if torque.as.kind == float && torque.as.size > 0 {
		r.TorqueText = trimmedNumber(r.TorqueText)
	}
	r.Torque, _ = unit.TorqueIn(r.TorqueText, r.Unit)
	if torque.minus == minusLoosens && r.Direction == device.Loosen {
		r.TorqueText = "-" + r.TorqueText
	}
	if torque.sign == ',' && torque.scale.factor == 0 {
		r.TorqueText = torque.signed(r.TorqueText, "")
	}
	return r
}

// trimmedNumber has the fewest digits, as a float is written.
func trimmedNumber(s string) string {
	for len(s) > 1 && (s[len(s)-1] == '0' || s[len(s)-1] == '.') {
		point := s[len(s)-1] == '.'
		if s = s[:len(s)-1]; point {
			break
		}
	}
	return s
}

func drawField(t *rapid.T, f *field, r *device.Reading) {
	word := func() string { return rapid.StringMatching(`[A-Z]{1,4}`).Draw(t, f.name) }
	switch f.kind {
	case kindAngle:
		a := unit.Angle(500 * rapid.IntRange(1, 6_000).Draw(t, f.name))
		r.Angle = &a
	case kindCounter:
		n := rapid.Int64Range(0, 99_999).Draw(t, f.name)
		r.Counter = &n
	case kindBattery:
		n := rapid.Int64Range(0, 100).Draw(t, f.name)
		r.Battery = &n
	case kindClock:
		r.Clock = fmt.Sprintf("20%02d-01-17T09:41:07Z", rapid.IntRange(0, 99).Draw(t, f.name))
	case kindSerial:
		r.Serial = word() + "7"
	case kindTag:
		r.Tag = word()
	case kindPreset:
		if r.Preset = word(); f.as.kind == packed && f.as.size > 0 {
			r.Preset = fmt.Sprintf("%0*d", 2*f.as.size, rapid.IntRange(0, 99).Draw(t, f.name))
		}
	case kindError:
		if n := rapid.IntRange(0, 99).Draw(t, f.name); n > 0 {
			r.ErrorCode = fmt.Sprint(n)
		}
	case kindJudgement:
		r.Judged = device.Judgement(rapid.SampledFrom(f.spelled).Draw(t, f.name).means)
	case kindStored:
		r.Stored = rapid.Bool().Draw(t, f.name)
	}
}

func TestForms_EncodedIsDecoded(t *testing.T) {
	for _, name := range formNames() {
		t.Run(name, func(t *testing.T) {
			p := mustParse(t, formTexts[name])
			rapid.Check(t, func(t *rapid.T) {
				want := drawFor(t, p)
				want.Raw = p.Encode(want)
				got := p.Decode("TW-01", frame.Frame{Bytes: want.Raw})
				if got.Reading == nil || !reflect.DeepEqual(*got.Reading, want) {
					t.Fatalf("%q: got %+v %+v, want %+v", want.Raw, got.Reading, got.Refusal, want)
				}
			})
		})
	}
}
