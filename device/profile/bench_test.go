package profile

import (
	"bytes"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"witnessmark/device"
	"witnessmark/device/frame"
	"witnessmark/device/unit"
)

// Ways of reading the same frame, so that the price of a declarative profile is known: by the profile, by a decoder
// written by hand for this frame alone, and by a regular expression.
//
//	go test -run '^$' -bench Decode -benchmem ./device/profile
type peer struct {
	name    string
	profile string
	frame   string
	byHand  func([]byte) *device.Reading
	regexp  func([]byte) *device.Reading // nil: numbers in bytes are no text
}

var peers = []peer{
	{"separator", "", sealed("1042;45.2;Nm;31.4;R;2026-01-17T09:41:07;M7"), handSeparator, regexpSeparator},
	{"columns", head + `serial: {baud: 9600, bits: 7, parity: even, stop: 1}
frame: {start: "<STX>", end: "<ETX>", after: 1, max: 64}
check: {kind: xor, over: through}
fields:
  columns: true
  list:
    - {kind: counter, at: 1..6}
    - {kind: torque, at: 7..12}
    - {kind: unit, at: 13..16, spelled: {Nm: N·m, lbft: lbf·ft}}
    - {kind: angle, at: 17..22}
    - {kind: direction, at: 23, tighten: R, loosen: L}
    - {kind: tag, at: 24..27, optional: true}
`, "\x02  1042  45.2Nm    31.4RM7  \x03\x0a", handColumns, regexpColumns},
	{"pattern", head + serial + `frame: {end: CRLF, max: 64}
fields:
  pattern: '(?P<count>\d+) T=(?P<torque>[\d.]+) (?P<unit>Nm|lbft) A=(?P<angle>[\d.]+) (?P<way>[RL])(?: (?P<tag>\w+))?'
  list:
    - {name: count, kind: counter}
    - {name: torque, kind: torque}
    - {name: unit, kind: unit, spelled: {Nm: N·m, lbft: lbf·ft}}
    - {name: angle, kind: angle}
    - {name: way, kind: direction, tighten: R, loosen: L}
    - {name: tag, kind: tag, optional: true}
`, "1042 T=45.2 Nm A=31.4 R M7\r\n", handPattern, regexpPattern},
	{"json", head + serial + `frame: {end: LF, max: 128}
fields:
  json: true
  list:
    - {kind: counter, at: n}
    - {kind: torque, at: torque}
    - {kind: unit, at: unit, spelled: {Nm: N·m, lbft: lbf·ft}}
    - {kind: angle, at: angle}
    - {kind: direction, at: way, tighten: R, loosen: L}
    - {kind: tag, at: tag, optional: true}
`, `{"n":1042,"torque":45.2,"unit":"Nm","angle":31.4,"way":"R","tag":"M7"}` + "\n", handJSON, regexpJSON},
	{"binary", head + serial + `frame: {start: "<A5><5A>", length: 22}
check: {kind: CRC-16/MODBUS, over: line, order: low first}
fields:
  binary: true
  list:
    - {kind: counter, at: 2, as: u32}
    - {kind: torque, at: 6, as: i32, scale: 0.1, unit: N·m}
    - {kind: angle, at: 10, as: i32, scale: 0.1}
    - {kind: direction, at: 14, as: u8, bit: 0, tighten: "0", loosen: "1"}
    - {kind: battery, at: 15, as: u8}
    - {kind: tag, at: 16, as: text4, optional: true}
`, "\xa5\x5a\x00\x00\x04\x12\x00\x00\x01\xc4\x00\x00\x01\x3a\x00\x57M7\x00\x00\x36\xbd", handBinary, nil},
}

func (p peer) parse(t testing.TB) *Profile {
	if p.profile == "" {
		return mustBuiltin(t)
	}
	return mustParse(t, p.profile)
}

func BenchmarkDecode(b *testing.B) {
	for _, c := range peers {
		f := frame.Frame{Bytes: []byte(c.frame)}
		p := c.parse(b)
		benchmarkWay(b, c.name+"/profile", len(c.frame), func() bool { return p.Decode("TW-01", f).Reading != nil })
		benchmarkWay(b, c.name+"/by hand", len(c.frame), func() bool { return c.byHand(f.Bytes) != nil })
		if c.regexp != nil {
			benchmarkWay(b, c.name+"/regexp", len(c.frame), func() bool { return c.regexp(f.Bytes) != nil })
		}
	}
}

func benchmarkWay(b *testing.B, name string, size int, decode func() bool) {
	b.Run(name, func(b *testing.B) {
		b.ReportAllocs()
		b.SetBytes(int64(size))
		for b.Loop() {
			if !decode() {
				b.Fatal("no reading")
			}
		}
	})
}

func BenchmarkFramer(b *testing.B) {
	for _, c := range peers {
		b.Run(c.name, func(b *testing.B) {
			f, n, stream := c.parse(b).NewFramer(), 0, []byte(c.frame)
			emit := func(frame.Frame) { n++ }
			b.ReportAllocs()
			b.SetBytes(int64(len(c.frame)))
			for b.Loop() {
				f.Push(stream, emit)
			}
			if n < b.N {
				b.Fatalf("got %d frames, want %d", n, b.N)
			}
		})
	}
}

// The comparison means something only while all ways say the same, of good frames and of broken ones.
func TestDecode_TheWaysAgree(t *testing.T) {
	for _, c := range peers {
		t.Run(c.name, func(t *testing.T) {
			p := c.parse(t)
			ways := map[string]func([]byte) *device.Reading{"by hand": c.byHand}
			if c.regexp != nil {
				ways["by regexp"] = c.regexp
			}
			for _, f := range variants(p, c.frame) {
				want := p.Decode("TW-01", frame.Frame{Bytes: f}).Reading
				if want != nil {
					want.Profile = "" // by hand there is none
				}
				for way, read := range ways {
					if got := read(f); !reflect.DeepEqual(got, want) {
						t.Errorf("%q %s: got %+v, want %+v", f, way, got, want)
					}
				}
			}
		})
	}
}

// variants are the frame itself, the same with other values, and broken ones.
func variants(p *Profile, text string) [][]byte {
	good := p.Decode("TW-01", frame.Frame{Bytes: []byte(text)}).Reading
	other := *good
	other.Torque, other.TorqueText, other.Tag, other.Direction = 7_000_000, "7.0", "", device.Loosen
	all := [][]byte{[]byte(text), p.Encode(other), []byte(text[:len(text)/2]), []byte(strings.Replace(text, "45", "4x", 1))}
	if p.check.sum != nil {
		spoilt := []byte(text)
		spoilt[9] ^= 1
		all = append(all, spoilt)
	}
	return all
}

// A reading costs two allocations: itself with its numbers and its raw bytes, and its texts.
func TestDecode_AllocatesTheReadingOnly(t *testing.T) {
	for _, c := range peers {
		p, f := c.parse(t), frame.Frame{Bytes: []byte(c.frame)}
		if got := testing.AllocsPerRun(100, func() { p.Decode("TW-01", f) }); got > 2 {
			t.Errorf("%s: got %g allocations, want at most 2", c.name, got)
		}
	}
}

// newHand is what the decoders by hand begin with: one piece of memory too, and one string for all texts.
func newHand(raw []byte) (*kept, string) {
	k := &kept{Reading: device.Reading{Wrench: "TW-01", Unit: unit.Nm, Direction: device.Tighten}}
	k.Raw = k.keepRaw(raw)
	return k, string(raw)
}

// measure takes the numbers into the reading.
func (k *kept) measure(torque, angle, count string) bool {
	var err error
	if k.Torque, err = unit.TorqueIn(torque, k.Unit); err != nil || k.Torque < 0 || k.Torque > MaxTorque {
		return false
	}
	k.TorqueText = torque
	if angle != "" {
		if k.angle, err = unit.AngleOf(angle); err != nil || k.angle > MaxAngle || k.angle < -MaxAngle {
			return false
		}
		k.Angle = &k.angle
	}
	for _, c := range []byte(count) {
		if c < '0' || c > '9' || k.counter > 1<<60/10 {
			return false
		}
		k.counter = 10*k.counter + int64(c-'0')
	}
	k.Counter = &k.counter
	return count != ""
}

func (k *kept) turn(unitText, way, pound string) bool {
	switch unitText {
	case "Nm":
	case pound:
		k.Unit = unit.LbfFt
	default:
		return false
	}
	switch way {
	case "R":
	case "L":
		k.Direction = device.Loosen
	default:
		return false
	}
	return true
}

func handSeparator(raw []byte) *device.Reading {
	n := len(raw) - 2
	if n < 4 || raw[0] != '#' || raw[n-3] != '*' || raw[n] != '\r' || raw[n+1] != '\n' {
		return nil
	}
	if !xorFits(raw[1:n-3], raw[n-2], raw[n-1]) {
		return nil
	}
	k, text := newHand(raw)
	var parts [7]string
	rest, more := text[1:n-3], true
	for i := range parts {
		if !more {
			return nil
		}
		parts[i], rest, more = strings.Cut(rest, ";")
	}
	if more || !k.turn(parts[2], parts[4], "LBFT") || !k.measure(parts[1], parts[3], parts[0]) {
		return nil
	}
	k.Clock, k.Tag = parts[5], parts[6]
	return &k.Reading
}

var separatorPattern = regexp.MustCompile(`^#((\d+);([\d.]+);(Nm|LBFT);([\d.]*);([RL]);([^;]*);([^;]*))\*([0-9A-F])([0-9A-F])\r\n$`)

func regexpSeparator(raw []byte) *device.Reading {
	m := separatorPattern.FindSubmatchIndex(raw)
	if m == nil || !xorFits(raw[m[2]:m[3]], raw[m[18]], raw[m[20]]) {
		return nil
	}
	k, text := newHand(raw)
	if !k.turn(text[m[8]:m[9]], text[m[12]:m[13]], "LBFT") || !k.measure(text[m[6]:m[7]], text[m[10]:m[11]], text[m[4]:m[5]]) {
		return nil
	}
	k.Clock, k.Tag = text[m[14]:m[15]], text[m[16]:m[17]]
	return &k.Reading
}

func xorFits(body []byte, high, low byte) bool {
	var made byte
	for _, c := range body {
		made ^= c
	}
	h, l := hexDigit(high), hexDigit(low)
	return h < 16 && l < 16 && h<<4|l == made
}

func handColumns(raw []byte) *device.Reading {
	const length = 30
	if len(raw) != length || raw[0] != 2 || raw[28] != 3 || !columnsFit(raw) {
		return nil
	}
	k, text := newHand(raw)
	count, torque := strings.Trim(text[1:7], " "), strings.Trim(text[7:13], " ")
	angle := strings.Trim(text[17:23], " ")
	if !k.turn(strings.Trim(text[13:17], " "), text[23:24], "lbft") || angle == "" || !k.measure(torque, angle, count) {
		return nil
	}
	k.Tag = strings.Trim(text[24:28], " ")
	return &k.Reading
}

func columnsFit(raw []byte) bool {
	var made byte
	for _, c := range raw[1:29] {
		made ^= c
	}
	return made&0x7f == raw[29]
}

var columnsPattern = regexp.MustCompile(`^\x02 *(\d+) *([\d.]+)(Nm|lbft) * *([\d.]+)([RL])(\w*) *\x03(?s:.)$`)

func regexpColumns(raw []byte) *device.Reading {
	m := columnsPattern.FindSubmatchIndex(raw)
	if m == nil || len(raw) != 30 || !columnsFit(raw) {
		return nil
	}
	k, text := newHand(raw)
	if !k.turn(text[m[6]:m[7]], text[m[10]:m[11]], "lbft") || !k.measure(text[m[4]:m[5]], text[m[8]:m[9]], text[m[2]:m[3]]) {
		return nil
	}
	k.Tag = text[m[12]:m[13]]
	return &k.Reading
}

func handPattern(raw []byte) *device.Reading {
	if !bytes.HasSuffix(raw, []byte("\r\n")) {
		return nil
	}
	k, text := newHand(raw)
	count, rest, ok1 := strings.Cut(text[:len(text)-2], " T=")
	torque, rest, ok2 := strings.Cut(rest, " ")
	in, rest, ok3 := strings.Cut(rest, " A=")
	angle, rest, ok4 := strings.Cut(rest, " ")
	way, tag, _ := strings.Cut(rest, " ")
	if !ok1 || !ok2 || !ok3 || !ok4 || angle == "" || !k.turn(in, way, "lbft") || !k.measure(torque, angle, count) {
		return nil
	}
	k.Tag = tag
	return &k.Reading
}

var patternPattern = regexp.MustCompile(`^(\d+) T=([\d.]+) (Nm|lbft) A=([\d.]+) ([RL])(?: (\w+))?\r\n$`)

func regexpPattern(raw []byte) *device.Reading {
	m := patternPattern.FindSubmatchIndex(raw)
	if m == nil {
		return nil
	}
	k, text := newHand(raw)
	if !k.turn(text[m[6]:m[7]], text[m[10]:m[11]], "lbft") || !k.measure(text[m[4]:m[5]], text[m[8]:m[9]], text[m[2]:m[3]]) {
		return nil
	}
	if m[12] >= 0 {
		k.Tag = text[m[12]:m[13]]
	}
	return &k.Reading
}

// handJSON reads a flat object of numbers and strings without escapes, in any order of its keys.
func handJSON(raw []byte) *device.Reading {
	k, text := newHand(raw)
	rest, ok := strings.CutPrefix(text, "{")
	var count, torque, in, angle, way string
	for ok {
		var key, value string
		if key, value, rest, ok = nextMember(rest); !ok {
			break
		}
		switch key {
		case "n":
			count = value
		case "torque":
			torque = value
		case "unit":
			in = value
		case "angle":
			angle = value
		case "way":
			way = value
		case "tag":
			k.Tag = value
		}
		if rest == "}\n" {
			if angle == "" || !k.turn(in, way, "lbft") || !k.measure(torque, angle, count) {
				return nil
			}
			return &k.Reading
		}
		rest, ok = strings.CutPrefix(rest, ",")
	}
	return nil
}

func nextMember(s string) (key, value, rest string, ok bool) {
	if s, ok = strings.CutPrefix(s, `"`); !ok {
		return "", "", "", false
	}
	if key, s, ok = strings.Cut(s, `":`); !ok {
		return "", "", "", false
	}
	if quoted, found := strings.CutPrefix(s, `"`); found {
		value, rest, ok = strings.Cut(quoted, `"`)
		return key, value, rest, ok
	}
	end := strings.IndexAny(s, ",}")
	if end < 1 {
		return "", "", "", false
	}
	return key, s[:end], s[end:], true
}

var jsonPattern = regexp.MustCompile(`^\{"n":(\d+),"torque":([\d.]+),"unit":"(Nm|lbft)","angle":([\d.]+),"way":"([RL])"(?:,"tag":"(\w+)")?\}\n$`)

func regexpJSON(raw []byte) *device.Reading {
	m := jsonPattern.FindSubmatchIndex(raw)
	if m == nil {
		return nil
	}
	k, text := newHand(raw)
	if !k.turn(text[m[6]:m[7]], text[m[10]:m[11]], "lbft") || !k.measure(text[m[4]:m[5]], text[m[8]:m[9]], text[m[2]:m[3]]) {
		return nil
	}
	if m[12] >= 0 {
		k.Tag = text[m[12]:m[13]]
	}
	return &k.Reading
}

func handBinary(raw []byte) *device.Reading {
	if len(raw) != 22 || raw[0] != 0xa5 || raw[1] != 0x5a || handModbus(raw[:20]) != uint16(raw[20])|uint16(raw[21])<<8 {
		return nil
	}
	four := func(at int) int32 {
		return int32(raw[at])<<24 | int32(raw[at+1])<<16 | int32(raw[at+2])<<8 | int32(raw[at+3])
	}
	torque, angle := four(6), four(10)
	if torque < 0 || unit.Torque(torque) > 10*MaxTorque/unit.NewtonMetre || raw[15] > 100 {
		return nil
	}
	k := &kept{Reading: device.Reading{Wrench: "TW-01", Unit: unit.Nm, Direction: device.Tighten}}
	k.Raw = k.keepRaw(raw)
	k.counter, k.battery, k.angle = int64(uint32(four(2))), int64(raw[15]), unit.Angle(angle)*unit.Degree/10
	k.Torque = unit.Torque(torque) * unit.NewtonMetre / 10
	k.Counter, k.Battery, k.Angle = &k.counter, &k.battery, &k.angle
	if raw[14]&1 == 1 {
		k.Direction = device.Loosen
	}
	var room [24]byte
	text := strconv.AppendInt(room[:0], int64(torque/10), 10)
	text = append(text, '.', byte('0'+torque%10))
	length := len(text)
	all := string(append(text, bytes.Trim(raw[16:20], "\x00 ")...))
	k.TorqueText, k.Tag = all[:length], all[length:]
	return &k.Reading
}

var modbusTable = func() (t [256]uint16) {
	for i := range t {
		c := uint16(i)
		for range 8 {
			odd := c & 1
			if c >>= 1; odd == 1 {
				c ^= 0xa001
			}
		}
		t[i] = c
	}
	return t
}()

func handModbus(b []byte) uint16 {
	c := uint16(0xffff)
	for _, x := range b {
		c = c>>8 ^ modbusTable[byte(c)^x]
	}
	return c
}
