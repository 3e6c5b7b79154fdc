package frame

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
	"witnessmark/device"
)

func collect(into *[]string) func(Frame) {
	return func(f Frame) { *into = append(*into, shown(f)) }
}

func shown(f Frame) string { return fmt.Sprintf("%q %s", f.Bytes, f.Fault) }

func run(f *Framer, chunks ...[]byte) (got []string) {
	for _, c := range chunks {
		f.Push(c, collect(&got))
	}
	if tail, ok := f.End(); ok {
		got = append(got, shown(tail))
	}
	return got
}

func TestFramer_Lines(t *testing.T) {
	long := strings.Repeat("x", 40)
	endless := strings.Repeat("y", 3*device.MaxRaw)
	for _, c := range []struct {
		rule  string
		end   Ending
		input string
		want  []string
	}{
		{"a line ends with its ending only", CRLF, "a\rb\nc\r\nd\r\n", []string{`"a\rb\nc\r\n" `, `"d\r\n" `}},
		{"LF", LF, "a\nb\r\n", []string{`"a\n" `, `"b\r\n" `}},
		{"CR", CR, "a\rb\r", []string{`"a\r" `, `"b\r" `}},
		{"any ending", AnyEnd, "a\rb\nc\r\nd\r\n", []string{`"a\r" `, `"b\n" `, `"c\r" `, `"d\r" `}},
		{"empty lines are passed over", CRLF, "\r\n\r\na\r\n\r\n", []string{`"a\r\n" `}},
		{"a tail without an end is torn", CRLF, "a\r\nb", []string{`"a\r\n" `, `"b" torn`}},
		{"half an ending is torn too", CRLF, "b\r", []string{`"b\r" torn`}},
		{"an empty tail is nothing", CRLF, "a\r\n\r", []string{`"a\r\n" `}},
		{"a NUL spoils its line only", LF, "a\x00b\nc\n", []string{`"a\x00b\n" nul byte`, `"c\n" `}},
		{"a line at the limit is good", LF, long[:31] + "\n", []string{fmt.Sprintf("%q ", long[:31]+"\n")}},
		{"a line over the limit is too long", LF, long[:32] + "\na\n", []string{fmt.Sprintf("%q too long", long[:32]+"\n"), `"a\n" `}},
		{"a tail over the limit is too long", LF, long, []string{fmt.Sprintf("%q too long", long)}},
		{"an endless line is one fault and the next line is good", CRLF, endless + "\r\nb\r\n",
			[]string{fmt.Sprintf("%q too long", endless[:device.MaxRaw]), `"b\r\n" `}},
		{"an endless line without an end is one fault", CRLF, endless,
			[]string{fmt.Sprintf("%q too long", endless[:device.MaxRaw])}},
		{"an ending across the limit of memory is seen", CRLF, endless[:device.MaxRaw-1] + "\r\nb\r\n",
			[]string{fmt.Sprintf("%q too long", endless[:device.MaxRaw-1]+"\r"), `"b\r\n" `}},
	} {
		t.Run(c.rule, func(t *testing.T) {
			if got := run(NewLine(c.end, 32), []byte(c.input)); !slices.Equal(got, c.want) {
				t.Errorf("got  %s\nwant %s", got, c.want)
			}
		})
	}
}

func TestFramer_ReadyAfterEnd(t *testing.T) {
	f := NewLine(LF, 32)
	run(f, bytes.Repeat([]byte("x"), 2*device.MaxRaw))
	if got, want := run(f, []byte("a\n")), []string{`"a\n" `}; !slices.Equal(got, want) {
		t.Errorf("after an endless line and an end: got %s, want %s", got, want)
	}
	run(f, []byte("half"))
	if got, want := run(f, []byte("a\n")), []string{`"a\n" `}; !slices.Equal(got, want) {
		t.Errorf("after a torn line: got %s, want %s", got, want)
	}
}

func TestFramer_MemoryIsBounded(t *testing.T) {
	f := NewLine(CRLF, 1<<30)
	chunk := bytes.Repeat([]byte("\r"), 100_000)
	f.Push(chunk, func(Frame) {})
	if len(f.buf) > device.MaxRaw || cap(f.buf) > device.MaxRaw {
		t.Errorf("got %d bytes held of %d, want at most %d", len(f.buf), cap(f.buf), device.MaxRaw)
	}
}

func TestFramer_NoAllocationPerFrame(t *testing.T) {
	f, text, frames := NewLine(CRLF, 128), []byte("one\r\ntwo\r\n"), 0
	emit := func(Frame) { frames++ }
	if got := testing.AllocsPerRun(100, func() { f.Push(text, emit) }); got != 0 || frames == 0 {
		t.Errorf("got %g allocations and %d frames, want none and some", got, frames)
	}
}

// chunked cuts a stream in pieces as a port might.
func chunked(t *rapid.T, stream []byte) (chunks [][]byte) {
	for len(stream) > 0 {
		n := rapid.IntRange(1, len(stream)).Draw(t, "chunk")
		chunks, stream = append(chunks, stream[:n]), stream[n:]
	}
	return chunks
}

func drawStream(t *rapid.T) []byte {
	piece := rapid.OneOf(
		rapid.SampledFrom([]string{"\r", "\n", "\r\n", "\x00", "abc", "12.5;"}),
		rapid.StringN(0, 40, 60),
		rapid.Map(rapid.IntRange(1, 2*device.MaxRaw), func(n int) string { return strings.Repeat("z", n) }),
	)
	return []byte(strings.Join(rapid.SliceOfN(piece, 0, 30).Draw(t, "pieces"), ""))
}

func TestFramer_AnyChunkingGivesTheSameFrames(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		end := rapid.SampledFrom(Endings()).Draw(t, "ending")
		longest := rapid.IntRange(1, device.MaxRaw).Draw(t, "longest")
		stream := drawStream(t)
		want := run(NewLine(end, longest), stream)
		if got := run(NewLine(end, longest), chunked(t, stream)...); !slices.Equal(got, want) {
			t.Fatalf("got  %s\nwant %s", got, want)
		}
	})
}

func TestFramer_GoodFramesAmongGarbageComeInOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		noise := rapid.SliceOfN(rapid.Byte().Filter(func(b byte) bool { return b != '\n' && b != '#' }), 0, 2*device.MaxRaw)
		var stream []byte
		var want []string
		for i := range rapid.IntRange(1, 8).Draw(t, "frames") {
			stream = append(append(stream, noise.Draw(t, "noise")...), '\n')
			good := fmt.Sprintf("#%d\n", i)
			stream, want = append(stream, good...), append(want, good)
		}
		var got []string
		f := NewLine(LF, 64)
		for _, c := range chunked(t, stream) {
			f.Push(c, func(f Frame) {
				if f.Fault == "" && f.Bytes[0] == '#' {
					got = append(got, string(f.Bytes))
				}
			})
		}
		if !slices.Equal(got, want) {
			t.Fatalf("got %q, want %q", got, want)
		}
	})
}

func FuzzFramer(f *testing.F) {
	f.Add([]byte("a\r\nb\r\n"), uint8(3), uint8(0))
	f.Add([]byte("\x00\r\r\n"), uint8(1), uint8(3))
	f.Add(bytes.Repeat([]byte("x"), 1100), uint8(7), uint8(1))
	f.Fuzz(func(t *testing.T, stream []byte, step, end uint8) {
		ending := Endings()[int(end)%len(Endings())]
		want := run(NewLine(ending, 64), stream)
		chunks := slices.Collect(slices.Chunk(stream, int(step)+1))
		if got := run(NewLine(ending, 64), chunks...); !slices.Equal(got, want) {
			t.Errorf("in chunks of %d: got  %s\nwant %s", int(step)+1, got, want)
		}
	})
}
