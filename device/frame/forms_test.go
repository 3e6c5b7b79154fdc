package frame

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"slices"
	"strings"
	"testing"

	"witnessmark/device"
)

// silence stands in the scripts of these tests for a call of Silence.
const silence = "(silence)"

// play pushes a script and gives every frame, the torn one at the end too.
func play(f *Framer, script ...string) (got []string) {
	for _, s := range script {
		if s == silence {
			f.Silence(collect(&got))
			continue
		}
		f.Push([]byte(s), collect(&got))
	}
	if tail, ok := f.End(); ok {
		got = append(got, shown(tail))
	}
	return got
}

// byXor says whether the last byte of a frame is the exclusive or of those before it.
func byXor(b []byte) bool {
	var x byte
	for _, c := range b {
		x ^= c
	}
	return x == 0
}

// sealed appends the byte that makes byXor true.
func sealed(s string) string {
	var x byte
	for i := range len(s) {
		x ^= s[i]
	}
	return s + string([]byte{x})
}

type formCase struct {
	rule   string
	script []string
	want   []string
}

func checkForm(t *testing.T, build func() *Framer, cases []formCase) {
	t.Helper()
	for _, c := range cases {
		t.Run(c.rule, func(t *testing.T) {
			if got := play(build(), c.script...); !slices.Equal(got, c.want) {
				t.Errorf("got  %s\nwant %s", got, c.want)
			}
		})
	}
}

// good, as what shown gives of frames.
func good(frame string) string { return fmt.Sprintf("%q ", frame) }

func bad(frame, reason string) string { return fmt.Sprintf("%q %s", frame, reason) }

func TestFramer_Ended(t *testing.T) {
	build := func() *Framer { return NewEnded([]byte(";;"), 32) }
	endless := strings.Repeat("y", 3*device.MaxRaw)
	checkForm(t, build, []formCase{
		{"any bytes end a frame", []string{"a;b;;c;;"}, []string{good("a;b;;"), good("c;;")}},
		{"an end is not found across two frames", []string{"a;", ";b;;;c;;"}, []string{good("a;;"), good("b;;"), good(";c;;")}},
		{"a frame of nothing but its end is passed over", []string{";;\r\n;;a;;"}, []string{good("a;;")}},
		{"a NUL is no fault here", []string{"a\x00;;"}, []string{good("a\x00;;")}},
		{"an end across the limit of memory is seen", []string{endless + ";", ";b;;"},
			[]string{bad(endless[:device.MaxRaw], device.ReasonTooLong), good("b;;")}},
		{"a silence ends nothing", []string{"a", silence, ";;"}, []string{good("a;;")}},
		{"a tail is torn", []string{"a;;b;"}, []string{good("a;;"), bad("b;", device.ReasonTorn)}},
	})
	t.Run("a NUL is a fault in text", func(t *testing.T) {
		got, want := play(build().Text(), "a\x00;;b;;"), []string{bad("a\x00;;", device.ReasonNUL), good("b;;")}
		if !slices.Equal(got, want) {
			t.Errorf("got  %s\nwant %s", got, want)
		}
	})
}

func TestFramer_Between(t *testing.T) {
	const stx, etx = "\x02", "\x03"
	build := func() *Framer { return NewBetween([]byte(stx), []byte(etx), 1, 16).Checked(byXor).Text() }
	a, b := sealed(stx+"T45.2"+etx), sealed(stx+"T44.9"+etx)
	spoilt := strings.Replace(a, "5", "7", 1)
	nul := sealed(stx + "\x00" + etx)
	checkForm(t, build, []formCase{
		{"frames one behind the other", []string{a + b}, []string{good(a), good(b)}},
		{"ends of lines between frames are passed over", []string{a + "\r\n" + b + "\r\n"}, []string{good(a), good(b)}},
		{"the check behind the end may be an end or a start", []string{sealed(stx + etx + ""), sealed(stx + "\x01" + etx + "")},
			[]string{good(sealed(stx + etx)), good(sealed(stx + "\x01" + etx))}},
		{"what stands before a start is noise", []string{"xy" + a}, []string{bad("xy", device.ReasonNoise), good(a)}},
		{"a false start in noise swallows nothing", []string{"x" + stx + "y" + a},
			[]string{bad("x", device.ReasonNoise), good(stx + "y" + a), good(a)}},
		{"a half frame swallows nothing", []string{a[:4] + b}, []string{good(a[:4] + b), good(b)}},
		{"a frame whose check does not fit is handed on at once and whole", []string{spoilt}, []string{good(spoilt)}},
		{"and the next one is good", []string{spoilt + b}, []string{good(spoilt), good(b)}},
		{"a lost end costs its own frame", []string{a[:6] + strings.Repeat("z", 20) + b},
			[]string{bad((a[:6] + strings.Repeat("z", 20))[:16], device.ReasonTooLong), bad(strings.Repeat("z", 10), device.ReasonNoise), good(b)}},
		{"a frame at the limit is good", []string{sealed(stx + "1234567890123" + etx)}, []string{good(sealed(stx + "1234567890123" + etx))}},
		{"a frame over the limit is too long", []string{sealed(stx+"12345678901234"+etx) + a},
			[]string{bad(stx+"12345678901234"+etx, device.ReasonTooLong), bad(sealed(stx + "12345678901234" + etx)[16:], device.ReasonNoise), good(a)}},
		{"a NUL is a fault", []string{nul + a}, []string{bad(nul, device.ReasonNUL), good(a)}},
		{"but not as the check", []string{sealed(stx + "\x01" + etx)}, []string{good(stx + "\x01" + etx + "\x00")}},
		{"a frame without its check is torn", []string{a[:7]}, []string{bad(a[:7], device.ReasonTorn)}},
		{"noise at the end is noise", []string{a + "xy"}, []string{good(a), bad("xy", device.ReasonNoise)}},
		{"an end of line at the end is nothing", []string{a + "\r\n"}, []string{good(a)}},
		{"a misfit at the end is not torn too", []string{spoilt}, []string{good(spoilt)}},
		{"a silence ends nothing", []string{a[:3], silence, a[3:]}, []string{good(a)}},
	})
}

func TestFramer_BetweenUnchecked(t *testing.T) {
	build := func() *Framer { return NewBetween([]byte("<<"), []byte(">>"), 0, 16) }
	checkForm(t, build, []formCase{
		{"half a start before a start", []string{"<", "-<<a>>"}, []string{bad("<-", device.ReasonNoise), good("<<a>>")}},
		{"a start cannot be a part of the end", []string{"<<>>"}, []string{good("<<>>")}},
		{"without a check the first end counts", []string{"<<a<<b>>c>>"}, []string{good("<<a<<b>>"), bad("c>>", device.ReasonNoise)}},
		{"ends of lines are noise where frames are no text", []string{"<<a>>\r\n<<b>>"},
			[]string{good("<<a>>"), bad("\r\n", device.ReasonNoise), good("<<b>>")}},
		{"half a start at the end is noise", []string{"<<a>>", "<"}, []string{good("<<a>>"), bad("<", device.ReasonNoise)}},
	})
}

func TestFramer_Fixed(t *testing.T) {
	a, b := sealed("\xA5\x5A\x01\x00\x07"), sealed("\xA5\x5A\x02\xA5\x5A")
	spoilt := strings.Replace(b, "\x02", "\x03", 1)
	checkForm(t, func() *Framer { return NewFixed([]byte("\xA5\x5A"), 6).Checked(byXor) }, []formCase{
		{"frames one behind the other, a NUL in one", []string{a + b}, []string{good(a), good(b)}},
		{"noise with half a start", []string{"\xA5\x00\xA5" + a}, []string{bad("\xA5\x00\xA5", device.ReasonNoise), good(a)}},
		{"a false start in noise swallows nothing", []string{"\xA5\x5Axy" + a + b},
			[]string{good("\xA5\x5Axy" + a[:2]), good(a), good(b)}},
		{"a start inside a misfit is tried and is no noise again", []string{spoilt + a}, []string{good(spoilt), good(a)}},
		{"what a second misfit holds beyond the first is noise", []string{spoilt + "xxxx" + a},
			[]string{good(spoilt), bad("xxxx", device.ReasonNoise), good(a)}},
		{"a lost byte costs one frame", []string{a[:3] + a[4:] + a + b}, []string{good(a[:3] + a[4:] + a[:1]), good(a), good(b)}},
		{"half a frame is torn", []string{a + b[:5]}, []string{good(a), bad(b[:5], device.ReasonTorn)}},
	})
	c, d := sealed("\x11\x22\x33"), sealed("\x01\x80\x33")
	checkForm(t, func() *Framer { return NewFixed(nil, 4).Checked(byXor) }, []formCase{
		{"with no start the check finds the way back", []string{"\x07\x99" + c + d}, []string{good("\x07\x99\x11\x22"), good(c), good(d)}},
		{"a spoilt frame is one misfit", []string{c[:3] + "\x01" + d}, []string{good(c[:3] + "\x01"), good(d)}},
		{"two spoilt frames are two misfits", []string{c[:3] + "\x01" + d[:3] + "\x09" + c}, []string{good(c[:3] + "\x01"), good(d[:3] + "\x09"), good(c)}},
	})
	checkForm(t, func() *Framer { return NewFixed(nil, 4) }, []formCase{
		{"with neither start nor check every length is a frame", []string{"abcdefghi"}, []string{good("abcd"), good("efgh"), bad("i", device.ReasonTorn)}},
	})
}

func TestFramer_Counted(t *testing.T) {
	// start, kind, length of the payload, payload, check
	framed := func(payload string) string {
		return sealed("\xA5\x01" + string([]byte{byte(len(payload))}) + payload)
	}
	a, b := framed("\x01\x02\x03"), framed("")
	count := Count{At: 2, Size: 1, Plus: 4}
	checkForm(t, func() *Framer { return NewCounted([]byte("\xA5"), count, 32).Checked(byXor) }, []formCase{
		{"frames of two lengths", []string{a + b}, []string{good(a), good(b)}},
		{"noise before a frame", []string{"xx" + a}, []string{bad("xx", device.ReasonNoise), good(a)}},
		{"more than the limit is too long, by its head", []string{"\xA5\x01\x80" + a}, []string{bad("\xA5\x01\x80", device.ReasonTooLong), good(a)}},
		{"a false start that asks for much swallows nothing", []string{"\xA5\x01\x08" + a + b},
			[]string{good("\xA5\x01\x08" + a + b[:2]), good(a), good(b)}},
		{"nor does it when the line falls silent", []string{"\xA5\x01\x18" + a + b, silence, a[:4]},
			[]string{bad("\xA5\x01\x18", device.ReasonNoise), good(a), good(b), bad(a[:4], device.ReasonTorn)}},
		{"what a misfit holds behind a good frame is no noise again", []string{"\xA5\x01\x09" + a + "yyy" + b},
			[]string{good("\xA5\x01\x09" + a + "yyy"), good(a), good(b)}},
		{"nor is it after a silence", []string{"\xA5\x01\x0D" + "\xA5\x01\x18" + a + "yyyz", silence, b},
			[]string{good("\xA5\x01\x0D" + "\xA5\x01\x18" + a + "yyyz"), good(a), good(b)}},
		{"a silence inside a frame ends nothing", []string{a[:4], silence, a[4:]}, []string{good(a)}},
		{"half a frame is torn", []string{a[:4]}, []string{bad(a[:4], device.ReasonTorn)}},
	})
	for _, c := range []struct {
		rule  string
		count Count
		frame string
	}{
		{"two bytes, high one first", Count{At: 1, Size: 2}, "\xA5\x00\x05xy"},
		{"two bytes, low one first", Count{At: 1, Size: 2, Little: true}, "\xA5\x05\x00xy"},
		{"a length that counts more than the frame", Count{At: 1, Size: 1, Plus: -2}, "\xA5\x05x"},
	} {
		checkForm(t, func() *Framer { return NewCounted([]byte("\xA5"), c.count, 32) }, []formCase{
			{c.rule, []string{c.frame + c.frame}, []string{good(c.frame), good(c.frame)}},
		})
	}
	checkForm(t, func() *Framer { return NewCounted([]byte("\xA5"), Count{At: 1, Size: 1}, 32) }, []formCase{
		{"less than itself is no frame", []string{"\xA5\x01\xA5\x03x"}, []string{bad("\xA5\x01", device.ReasonNoise), good("\xA5\x03x")}},
	})
	checkForm(t, func() *Framer { return NewCounted(nil, Count{At: 0, Size: 1}, 8).Checked(byXor) }, []formCase{
		{"with no start the check finds the way back", []string{"\x07" + sealed("\x04ab") + sealed("\x03a") + "xxx", silence},
			[]string{good("\x07" + sealed("\x04ab") + sealed("\x03a")[:2]), good(sealed("\x04ab")), good(sealed("\x03a")), bad("xxx", device.ReasonTorn)}},
	})
}

func TestFramer_Gap(t *testing.T) {
	long := strings.Repeat("x", 2*device.MaxRaw+40)
	checkForm(t, func() *Framer { return NewGap(32) }, []formCase{
		{"a silence ends a frame", []string{"ab", "c", silence, "d", silence}, []string{good("abc"), good("d")}},
		{"a second silence ends nothing", []string{silence, "a", silence, silence}, []string{good("a")}},
		{"a frame at the limit is good", []string{long[:32], silence}, []string{good(long[:32])}},
		{"what comes without a silence is too long once, and then noise", []string{long, silence, "a", silence},
			[]string{bad(long[:32], device.ReasonTooLong), bad(long[:device.MaxRaw], device.ReasonNoise),
				bad(long[:device.MaxRaw], device.ReasonNoise), bad(long[:8], device.ReasonNoise), good("a")}},
		{"a frame that no silence has ended is torn", []string{"ab"}, []string{bad("ab", device.ReasonTorn)}},
	})
	t.Run("a NUL is a fault in text", func(t *testing.T) {
		got, want := play(NewGap(32).Text(), "a\x00", silence, "b", silence), []string{bad("a\x00", device.ReasonNUL), good("b")}
		if !slices.Equal(got, want) {
			t.Errorf("got  %s\nwant %s", got, want)
		}
	})
}

func TestFramer_ReadyAfterEnd(t *testing.T) {
	endless := bytes.Repeat([]byte("x"), 2*device.MaxRaw)
	for name, form := range forms {
		f := form.build()
		for _, before := range [][]byte{endless, form.good(7)[:3], append(endless, form.good(7)[:1]...)} {
			f.Push(before, func(Frame) {})
			f.End()
			frame := string(form.good(1))
			if got, want := play(f, frame, silence), []string{good(frame)}; !slices.Equal(got, want) {
				t.Errorf("%s: after %.10q and an end: got %s, want %s", name, before, got, want)
			}
		}
	}
}

func TestFramer_NoAllocationPerFrame(t *testing.T) {
	for name, form := range forms {
		f, frames := form.build(), 0
		stream := slices.Concat([]byte("noise"), form.good(1), form.good(2))
		emit := func(Frame) { frames++ }
		if got := testing.AllocsPerRun(100, func() { f.Push(stream, emit); f.Silence(emit) }); got != 0 || frames == 0 {
			t.Errorf("%s: got %g allocations and %d frames, want none and some", name, got, frames)
		}
	}
}

// forms are all forms of frame, each with a check of four bytes that noise does not meet by chance.
var forms = map[string]struct {
	build func() *Framer
	good  func(i byte) []byte // the i-th good frame
	apart string              // what must stand between noise and a frame
}{
	"lines": {func() *Framer { return NewLine(LF, 64) },
		func(i byte) []byte { return fmt.Appendf(nil, "#%d\n", i) }, "\n"},
	"lines of any end": {func() *Framer { return NewLine(AnyEnd, 64) },
		func(i byte) []byte { return fmt.Appendf(nil, "#%d\r", i) }, "\r"},
	"ended": {func() *Framer { return NewEnded([]byte("#*"), 64) },
		func(i byte) []byte { return fmt.Appendf(nil, "#%d#*", i) }, "#*"},
	"between": {func() *Framer { return NewBetween([]byte("\x02"), []byte("\x03"), 4, 64).Text().Checked(byCRC) },
		func(i byte) []byte { return withCRC(fmt.Appendf(nil, "\x02#%d\x03", i)) }, ""},
	"between two starts and ends": {func() *Framer { return NewBetween([]byte("{<{"), []byte("}>}"), 4, 512).Checked(byCRC) },
		func(i byte) []byte { return withCRC(fmt.Appendf(nil, "{<{#%d}>}", i)) }, ""},
	"fixed": {func() *Framer { return NewFixed([]byte("\x02\x02\x03"), 12).Checked(byCRC) },
		func(i byte) []byte { return withCRC([]byte{2, 2, 3, '#', 0, 0, 2, i}) }, ""},
	"fixed without a start": {func() *Framer { return NewFixed(nil, 7).Checked(byCRC) },
		func(i byte) []byte { return withCRC([]byte{'#', 0, i}) }, ""},
	"counted": {func() *Framer {
		return NewCounted([]byte("\x02"), Count{At: 1, Size: 1, Plus: 6}, 200).Checked(byCRC)
	}, func(i byte) []byte { return withCRC([]byte{2, 2, '#', i}) }, ""},
	"counted without a start": {func() *Framer {
		return NewCounted(nil, Count{At: 1, Size: 2, Little: true}, 300).Checked(byCRC)
	}, func(i byte) []byte { return withCRC([]byte{'#', 8, 0, i}) }, ""},
	"gap": {func() *Framer { return NewGap(64) },
		func(i byte) []byte { return withCRC([]byte{'#', i}) }, silence},
}

func byCRC(b []byte) bool {
	n := len(b) - 4
	return n >= 0 && crc32.ChecksumIEEE(b[:n]) == binary.BigEndian.Uint32(b[n:])
}

func withCRC(b []byte) []byte { return binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b)) }

func BenchmarkFramer(b *testing.B) {
	for name, form := range forms {
		b.Run(name, func(b *testing.B) {
			f, frame, frames := form.build(), form.good(7), 0
			emit := func(Frame) { frames++ }
			for b.Loop() {
				f.Push(frame, emit)
				f.Silence(emit)
			}
			if frames < b.N {
				b.Errorf("got %d frames of %d", frames, b.N)
			}
		})
	}
	b.Run("worst: a start in every byte", func(b *testing.B) {
		f := NewFixed([]byte{2}, 512).Checked(byCRC)
		stream := bytes.Repeat([]byte{2}, 4096)
		b.SetBytes(int64(len(stream)))
		for b.Loop() {
			f.Push(stream, func(Frame) {})
		}
	})
}
