package frame

import (
	"bytes"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"witnessmark/device"
	"witnessmark/device/capture"
)

// chunked cuts a script as a port might: bytes in other pieces, silences where they were.
func chunked(t *rapid.T, script []string) (chunks []string) {
	for _, s := range script {
		for s != silence && len(s) > 0 {
			n := rapid.IntRange(1, len(s)).Draw(t, "chunk")
			chunks, s = append(chunks, s[:n]), s[n:]
		}
		if s == silence {
			chunks = append(chunks, s)
		}
	}
	return chunks
}

// joined undoes what chunked does.
func joined(script []string) (whole []string) {
	for _, s := range script {
		if n := len(whole); n > 0 && s != silence && whole[n-1] != silence {
			whole[n-1] += s
			continue
		}
		whole = append(whole, s)
	}
	return whole
}

// drawScript draws what a port of that form may give: frames, parts of frames, noise, and what the forms are made of.
func drawScript(t *rapid.T, good func(byte) []byte) []string {
	frame := rapid.Map(rapid.Byte(), func(i byte) string { return string(good(i)) })
	half := rapid.Custom(func(t *rapid.T) string {
		f := frame.Draw(t, "frame")
		from := rapid.IntRange(0, len(f)).Draw(t, "from")
		return f[from:rapid.IntRange(from, len(f)).Draw(t, "to")]
	})
	piece := rapid.OneOf(
		frame, half,
		rapid.SampledFrom([]string{silence, "\r", "\n", "\r\n", "\x00", "\x02", "\x02\x02", "\x03", "{<", "}>}", "#", "*", "\x02\x40", "\x08\x00"}),
		rapid.Map(rapid.SliceOfN(rapid.Byte(), 0, 40), func(b []byte) string { return string(b) }),
		rapid.Map(rapid.IntRange(1, 2*device.MaxRaw), func(n int) string { return strings.Repeat("z", n) }),
	)
	return joined(rapid.SliceOfN(piece, 0, 30).Draw(t, "pieces"))
}

func eachForm(t *testing.T, check func(t *rapid.T, build func() *Framer, good func(byte) []byte, apart string)) {
	for _, name := range slices.Sorted(maps.Keys(forms)) {
		form := forms[name]
		t.Run(name, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) { check(t, form.build, form.good, form.apart) })
		})
	}
}

func TestFramer_AnyChunkingGivesTheSameFrames(t *testing.T) {
	eachForm(t, func(t *rapid.T, build func() *Framer, good func(byte) []byte, _ string) {
		script := drawScript(t, good)
		want := play(build(), script...)
		if got := play(build(), chunked(t, script)...); !slices.Equal(got, want) {
			t.Fatalf("got  %s\nwant %s", got, want)
		}
	})
}

func TestFramer_AnyLimitGivesTheSameFrames(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		end := rapid.SampledFrom(Endings()).Draw(t, "ending")
		longest := rapid.IntRange(-1, device.MaxRaw+1).Draw(t, "longest")
		count := Count{At: rapid.IntRange(0, 3).Draw(t, "at"), Size: 2, Plus: rapid.IntRange(-9, 9).Draw(t, "plus")}
		for name, build := range map[string]func() *Framer{
			"lines":   func() *Framer { return NewLine(end, longest) },
			"ended":   func() *Framer { return NewEnded([]byte("zz\x02"), longest) },
			"between": func() *Framer { return NewBetween([]byte("\x02"), []byte("\n"), 2, longest).Text() },
			"fixed":   func() *Framer { return NewFixed([]byte("\x02z"), longest).Checked(byXor) },
			"counted": func() *Framer { return NewCounted([]byte("\x02"), count, longest).Checked(byXor) },
			"gap":     func() *Framer { return NewGap(longest) },
		} {
			script := drawScript(t, forms["between"].good)
			want := play(build(), script...)
			if got := play(build(), chunked(t, script)...); !slices.Equal(got, want) {
				t.Fatalf("%s: got  %s\nwant %s", name, got, want)
			}
		}
	})
}

// Whatever stands between them, all good frames are handed on, in their order.
func TestFramer_GoodFramesAmongNoiseComeInOrder(t *testing.T) {
	eachForm(t, func(t *rapid.T, build func() *Framer, good func(byte) []byte, apart string) {
		var script, want []string
		for i := range rapid.IntRange(1, 6).Draw(t, "frames") {
			noise := drawScript(t, func(byte) []byte { return good(byte(i))[:len(good(0))-1] })
			script = append(append(script, noise...), apart, string(good(byte(i))))
			if want = append(want, string(good(byte(i)))); apart == silence {
				script = append(script, silence)
			}
		}
		script = append(script, silence)
		var got []string
		f := build()
		take := func(f Frame) {
			if n := len(got); n < len(want) && f.Fault == "" && string(f.Bytes) == want[n] {
				got = append(got, want[n])
			}
		}
		for _, s := range chunked(t, script) {
			if s == silence {
				f.Silence(take)
				continue
			}
			f.Push([]byte(s), take)
		}
		if !slices.Equal(got, want) {
			t.Fatalf("got %q, want %q", got, want)
		}
	})
}

// covered walks along a stream with what was made of it: every frame must begin at or before the place up to which the
// stream is covered, and what it covers must stand there. It gives the bytes that nothing covers.
func covered(stream []byte, frames []Frame) (left []byte) {
	done := 0
	for _, f := range frames {
		for from := min(done, len(stream)-len(f.Bytes)); from >= 0; from-- {
			if bytes.HasPrefix(stream[from:], f.Bytes) {
				done = max(done, from+len(f.Bytes))
				break
			}
		}
	}
	return stream[done:]
}

// Nothing is dropped silently: every byte is in a frame or in a refused one. (Of an endless line the beginning is kept,
// and empty lines are nothing.)
func TestFramer_EveryByteIsHandedOn(t *testing.T) {
	eachForm(t, func(t *rapid.T, build func() *Framer, good func(byte) []byte, apart string) {
		f := build()
		if _, isEnded := f.form.(*ended); isEnded || f.text {
			return
		}
		var frames []Frame
		take := func(f Frame) { frames = append(frames, Frame{bytes.Clone(f.Bytes), f.Fault}) }
		var stream []byte
		for range rapid.IntRange(0, 20).Draw(t, "pieces") {
			noise := rapid.SliceOfN(rapid.Byte(), 0, 300).Draw(t, "noise")
			stream = slices.Concat(stream, noise, good(rapid.Byte().Draw(t, "frame")))
		}
		f.Push(stream, take)
		if tail, ok := f.End(); ok {
			take(tail)
		}
		for _, f := range frames {
			if len(f.Bytes) > 2*device.MaxRaw {
				t.Fatalf("got a piece of %d bytes, want at most %d", len(f.Bytes), 2*device.MaxRaw)
			}
		}
		if left := covered(stream, frames); len(left) > 0 {
			t.Fatalf("got %d bytes handed on, want %d: %q is missing", len(stream)-len(left), len(stream), left)
		}
	})
}

func TestFramer_MemoryIsBounded(t *testing.T) {
	eachForm(t, func(t *rapid.T, build func() *Framer, good func(byte) []byte, apart string) {
		f := build()
		for _, s := range append(drawScript(t, good), strings.Repeat("\r", 10_000), strings.Repeat("\x02", 10_000)) {
			f.Push([]byte(s), func(Frame) {})
			if got := held(f); got > 2*device.MaxRaw {
				t.Fatalf("got memory for %d bytes, want at most %d", got, 2*device.MaxRaw)
			}
		}
	})
}

func held(f *Framer) int {
	switch f := f.form.(type) {
	case *ended:
		return cap(f.buf)
	case *started:
		return cap(f.buf)
	}
	return cap(f.form.(*gap).buf)
}

// Every form takes every stream, in any chunks: the captures, which hold all faults, and what is made of them.
func FuzzFramer(f *testing.F) {
	names := slices.Sorted(maps.Keys(forms))
	files, err := filepath.Glob("../../testdata/captures/*.capture")
	if err != nil || len(files) == 0 {
		f.Fatalf("got %d captures, %v, want some", len(files), err)
	}
	for i, file := range files {
		f.Add(captured(f, file), uint8(7*i), uint8(i))
	}
	for i, name := range names {
		f.Add(slices.Concat(forms[name].good(1), []byte("\x02\x00"), forms[name].good(2)), uint8(i), uint8(i))
	}
	f.Fuzz(func(t *testing.T, stream []byte, step, form uint8) {
		build := forms[names[int(form)%len(names)]].build
		// A byte that the step names is a silence: both runs have it at the same place.
		var script []string
		for i, part := range strings.Split(string(stream), string([]byte{step})) {
			if script = append(script, part); i > 0 {
				script = append(script, silence)
			}
		}
		want := play(build(), script...)
		var chunks []string
		for _, s := range script {
			if s == silence {
				chunks = append(chunks, s)
				continue
			}
			for c := range slices.Chunk([]byte(s), int(step)+1) {
				chunks = append(chunks, string(c))
			}
		}
		if got := play(build(), chunks...); !slices.Equal(got, want) {
			t.Errorf("%s, in chunks of %d: got  %s\nwant %s", names[int(form)%len(names)], int(step)+1, got, want)
		}
	})
}

func captured(t testing.TB, file string) (stream []byte) {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	c, err := capture.Read(bytes.NewReader(text))
	if err != nil {
		t.Fatal(fmt.Errorf("%s: %w", file, err))
	}
	for _, chunk := range c.Chunks {
		stream = append(stream, chunk.Bytes...)
	}
	return stream
}
