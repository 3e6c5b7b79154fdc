package profile

import (
	"bytes"
	"encoding/hex"
	"regexp"
	"strconv"
	"testing"

	"witnessmark/device"
	"witnessmark/device/frame"
	"witnessmark/device/unit"
)

// The three ways of reading the same line, so that the price of a declarative profile is known:
//
//	go test -run '^$' -bench . -benchmem ./device/profile

var benchLine = []byte(sealed("1042;45.2;Nm;31.4;R;2026-01-17T09:41:07;M7"))

func BenchmarkDecode_Profile(b *testing.B) {
	p := mustBuiltin(b)
	f := frame.Frame{Bytes: benchLine}
	b.ReportAllocs()
	b.SetBytes(int64(len(benchLine)))
	for b.Loop() {
		if p.Decode("TW-01", f).Reading == nil {
			b.Fatal("no reading")
		}
	}
}

func BenchmarkDecode_ByHand(b *testing.B) {
	b.ReportAllocs()
	b.SetBytes(int64(len(benchLine)))
	for b.Loop() {
		if byHand(benchLine) == nil {
			b.Fatal("no reading")
		}
	}
}

func BenchmarkDecode_Regexp(b *testing.B) {
	b.ReportAllocs()
	b.SetBytes(int64(len(benchLine)))
	for b.Loop() {
		if byRegexp(benchLine) == nil {
			b.Fatal("no reading")
		}
	}
}

func BenchmarkFramer(b *testing.B) {
	f := frame.NewLine(frame.CRLF, 128)
	n := 0
	emit := func(frame.Frame) { n++ }
	b.ReportAllocs()
	b.SetBytes(int64(len(benchLine)))
	for b.Loop() {
		f.Push(benchLine, emit)
	}
	if n < b.N {
		b.Fatalf("got %d frames, want %d", n, b.N)
	}
}

// The comparison means something only while all three say the same.
func TestDecode_TheThreeWaysAgree(t *testing.T) {
	want := decode(mustBuiltin(t), string(benchLine)).Reading
	for name, got := range map[string]*device.Reading{"by hand": byHand(benchLine), "by regexp": byRegexp(benchLine)} {
		if got == nil || want == nil || got.Torque != want.Torque || *got.Angle != *want.Angle || *got.Counter != *want.Counter ||
			got.Direction != want.Direction || got.Clock != want.Clock || got.Tag != want.Tag || !bytes.Equal(got.Raw, want.Raw) {
			t.Errorf("%s: got %+v, want %+v", name, got, want)
		}
		spoilt := bytes.Replace(benchLine, []byte("45.2"), []byte("45.3"), 1)
		if byHand(spoilt) != nil || byRegexp(spoilt) != nil {
			t.Error("a wrong check: got a reading, want none")
		}
	}
}

func byHand(raw []byte) *device.Reading {
	line := bytes.TrimRight(raw, "\r\n")
	if len(line) < 4 || line[0] != '#' || line[len(line)-3] != '*' {
		return nil
	}
	body := line[1 : len(line)-3]
	if !xorFits(body, line[len(line)-2:]) {
		return nil
	}
	parts := bytes.Split(body, []byte(";"))
	if len(parts) != 7 {
		return nil
	}
	return readingOf(raw, parts)
}

var benchPattern = regexp.MustCompile(`^#((\d+);([\d.]+);(Nm|LBFT);([\d.]*);([RL]);([^;]*);([^;]*))\*([0-9A-F]{2})\r\n$`)

func byRegexp(raw []byte) *device.Reading {
	m := benchPattern.FindSubmatch(raw)
	if m == nil || !xorFits(m[1], m[9]) {
		return nil
	}
	return readingOf(raw, m[2:9])
}

func xorFits(body, digits []byte) bool {
	var made byte
	for _, c := range body {
		made ^= c
	}
	var sent [1]byte
	_, err := hex.Decode(sent[:], digits)
	return err == nil && sent[0] == made
}

func readingOf(raw []byte, parts [][]byte) *device.Reading {
	count, err := strconv.ParseInt(string(parts[0]), 10, 64)
	if err != nil {
		return nil
	}
	r := device.Reading{Counter: &count, Raw: bytes.Clone(raw), TorqueText: string(parts[1]), Direction: device.Tighten,
		Unit: unit.Nm, Clock: string(parts[5]), Tag: string(parts[6])}
	if string(parts[2]) == "LBFT" {
		r.Unit = unit.LbfFt
	}
	if string(parts[4]) == "L" {
		r.Direction = device.Loosen
	}
	if r.Torque, err = unit.TorqueIn(r.TorqueText, r.Unit); err != nil {
		return nil
	}
	a, err := unit.AngleOf(string(parts[3]))
	if err != nil {
		return nil
	}
	r.Angle = &a
	return &r
}
