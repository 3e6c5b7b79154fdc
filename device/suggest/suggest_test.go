package suggest

import (
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"witnessmark/device"
	"witnessmark/device/capture"
	"witnessmark/device/checksum"
	"witnessmark/device/trial"
)

// pull is one tightening as the tests have it.
type pull struct {
	torque, angle float64
	loosened      bool
}

var pulls = []pull{{30.4, 87.2, false}, {127.6, 91.5, false}, {29.8, 44.3, false}, {101.7, 12, false}, {45.2, 31.4, false}, {45.4, 7.9, false}}

// shownOf is what the display shows of some of the pulls, with the unit N·m.
func shownOf(t *testing.T, which ...int) (all []Shown) {
	t.Helper()
	for _, n := range which {
		p := pulls[n]
		text := fmt.Sprintf("%.1f N·m, %.1f°", p.torque, p.angle)
		if p.loosened {
			text += ", loosening"
		}
		all = append(all, displayed(t, text)...)
	}
	return all
}

func displayed(t *testing.T, texts ...string) (all []Shown) {
	t.Helper()
	for _, text := range texts {
		s, err := ParseShown(text)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, s)
	}
	return all
}

// recorded is a capture in which every frame comes in two pieces, with seconds between the frames.
func recorded(frames ...[]byte) capture.Capture {
	c := capture.Capture{MadeBy: "synthetic, made by a test", Wrench: "TW-01"}
	for i, f := range frames {
		at := time.Duration(i) * 3 * time.Second
		cut := (len(f) + 1) / 2
		c.Chunks = append(c.Chunks, capture.Chunk{At: at, Bytes: f[:cut]})
		if cut < len(f) {
			c.Chunks = append(c.Chunks, capture.Chunk{At: at + 12*time.Millisecond, Bytes: f[cut:]})
		}
	}
	return c
}

// frames writes all pulls in one form.
func frames(write func(n int, p pull) []byte) (all [][]byte) {
	for i, p := range pulls {
		all = append(all, write(i, p))
	}
	return all
}

func check(t testing.TB, name string, b []byte) uint32 {
	c, ok := checksum.Named(name)
	if !ok {
		t.Fatalf("no check %q", name)
	}
	return c.Sum(b)
}

// readings is what a proposal makes of the capture.
func readings(p Proposal, c capture.Capture) (all []device.Reading) {
	trial.Play(p.Profile, c, func(f trial.Frame) {
		if f.Result.Reading != nil {
			all = append(all, *f.Result.Reading)
		}
	}, func(time.Duration) {})
	return all
}

// mustPropose wants a proposal that decodes every pull, though only some of them were shown.
func mustPropose(t *testing.T, c capture.Capture, shown []Shown) Proposal {
	t.Helper()
	p, err := Propose(c, shown, Asked{})
	if err != nil {
		t.Fatal(err)
	}
	got := readings(p, c)
	if len(got) != len(pulls) {
		t.Fatalf("got %d readings of %d pulls:\n%s\n%s", len(got), len(pulls), p.YAML, strings.Join(p.Unsure, "\n"))
	}
	for i, r := range got {
		torque, angle := math.Abs(float64(r.Torque)/1e6-pulls[i].torque), 0.0
		if r.Angle != nil {
			angle = math.Abs(float64(*r.Angle)/1e3 - pulls[i].angle)
		}
		if torque > 1e-6 || angle > 1e-6 || r.Direction == device.Loosen != pulls[i].loosened {
			t.Errorf("pull %d: got %s, %v, %s, want %+v\n%s", i, r.Torque, r.Angle, r.Direction, pulls[i], p.YAML)
		}
	}
	return p
}

// TestPropose_Forms: each form that the language knows is found again from a capture and a few shown values.
func TestPropose_Forms(t *testing.T) {
	for name, c := range map[string]struct {
		frame func(n int, p pull) []byte
		says  []string // in the profile
	}{
		"fields between semicolons with an exclusive or": {func(n int, p pull) []byte {
			body := fmt.Sprintf("%d;%.1f;Nm;%.1f;R;2026-01-17T09:41:%02d", n+7, p.torque, p.angle, n)
			return fmt.Appendf(nil, "#%s*%02X\r\n", body, check(t, "xor", []byte(body)))
		}, []string{"end: CRLF", `separator: ";"`, `check: {kind: xor, over: inside, mark: "*", sent: hex}`, "kind: counter", "kind: clock", "kind: direction"}},
		"fields between tabs, decimal comma, CR alone": {func(n int, p pull) []byte {
			return []byte(strings.ReplaceAll(fmt.Sprintf("%.1f\tNm\t%.1f\tOK\r", p.torque, p.angle), ".", ","))
		}, []string{"end: CR,", `separator: "<TAB>"`, "decimal: comma", "kind: judgement"}},
		"columns between STX and ETX with a block check": {func(n int, p pull) []byte {
			body := fmt.Sprintf("%04d%05.1fNM%05.1f", n+998, p.torque, p.angle)
			f := []byte("\x02" + body + "\x03")
			return append(f, byte(check(t, "xor", f[1:])))
		}, []string{`start: "<STX>", end: "<ETX>", after: 1`, "columns: true", "kind: xor, over: through, sent: bytes", "kind: counter, at: 1..4", "kind: unit, at: 10..11"}},
		"a pattern of labels": {func(n int, p pull) []byte {
			return fmt.Appendf(nil, "No%d T: %.1f Nm  A= %.1f deg %s\r\n", n+98, p.torque, p.angle, []string{"OK", "LO"}[n%2])
		}, []string{"pattern:", "kind: judgement", "kind: counter"}},
		"JSON": {func(n int, p pull) []byte {
			return fmt.Appendf(nil, `{"id":"W-77","result":{"torque":%.1f,"unit":"Nm","angle":%.1f},"seq":%d,"batt":%d}`+"\n", p.torque, p.angle, n+1, 80-n)
		}, []string{"json: true", "at: result.torque", "at: result.angle", "kind: counter, at: seq", "kind: battery, at: batt"}},
		"a line with a 16-bit check in hexadecimal digits": {func(n int, p pull) []byte {
			body := fmt.Sprintf("$TQ,%.1f,%.1f", p.torque, p.angle)
			return fmt.Appendf(nil, "%s,%04X\r\n", body, check(t, "CRC-16/XMODEM", []byte(body)))
		}, []string{"kind: CRC-16/XMODEM, over: line", `separator: ","`, "unit: N·m"}},
		"fixed length with a CRC, low byte first": {func(n int, p pull) []byte {
			f := []byte{0xa5, 0x5a, 1, byte(n + 3)}
			f = binary.BigEndian.AppendUint32(f, uint32(math.Round(p.torque*100)))
			f = binary.BigEndian.AppendUint16(f, uint16(math.Round(p.angle*10)))
			f = append(f, 0, 7)
			return binary.LittleEndian.AppendUint16(f, uint16(check(t, "CRC-16/MODBUS", f)))
		}, []string{`start: "<A5>Z", length: 14`, "kind: CRC-16/MODBUS, over: line, sent: bytes, order: low first", "scale: 0.01", "scale: 0.1", "kind: counter, at: 3, as: u8"}},
		"a length field, floats with the low byte first": {func(n int, p pull) []byte {
			f := []byte{0x7e, 9, 0}
			f = binary.LittleEndian.AppendUint32(f, math.Float32bits(float32(p.torque)))
			f = binary.LittleEndian.AppendUint32(f, math.Float32bits(float32(p.angle)))
			f = append(f, make([]byte, n)...) // the length counts as a counter does
			f[2] = byte(len(f))
			return binary.BigEndian.AppendUint16(f, uint16(check(t, "CRC-16/IBM-3740", f[1:])))
		}, []string{`start: "~", length: {at: 2, as: u8, plus: 2}`, "kind: CRC-16/IBM-3740, over: inside, sent: bytes", "as: f32, order: little"}},
		"packed digits and a unit that end by silence": {func(n int, p pull) []byte {
			f := []byte{byte(10 + n)}
			for _, number := range []string{fmt.Sprintf("%06.0f", p.torque*100), fmt.Sprintf("%04.0f", p.angle*10)} {
				b, err := hex.DecodeString(number)
				if err != nil {
					t.Fatal(err)
				}
				f = append(f, b...)
			}
			f = append(f, "Nm\x00"...)
			f = append(f, 0, 0)
			return append(f, byte(check(t, "CRC-8/SMBUS", f)))
		}, []string{"gap: ", "kind: CRC-8/SMBUS", "as: bcd3, scale: 0.01", `as: text4, spelled: {"Nm": N·m}`, "kind: unread, at: 10"}},
		"text that ends by silence": {func(n int, p pull) []byte {
			return fmt.Appendf(nil, "%d/%.1f Nm/%.1f", n+1, p.torque, p.angle)
		}, []string{"gap: "}},
		"text that ends with a mark of its own": {func(n int, p pull) []byte {
			return fmt.Appendf(nil, "%d|%.2f|%.1f|Nm;;", n+1, p.torque, p.angle)
		}, []string{`end: ";;"`, `separator: "|"`}},
	} {
		t.Run(name, func(t *testing.T) {
			c2 := recorded(frames(c.frame)...)
			p := mustPropose(t, c2, shownOf(t, 0, 1, 2, 4))
			for _, want := range c.says {
				if !strings.Contains(p.YAML, want) {
					t.Errorf("got a profile without %q:\n%s\n%s", want, p.YAML, strings.Join(p.Unsure, "\n"))
				}
			}
		})
	}
}
