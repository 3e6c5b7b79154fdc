package capture

import (
	"bytes"
	"errors"
	"io"
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

const head = "format: witnessmark/capture/1\nmade by: synthetic\nwrench: TW-01\n"

func TestRead(t *testing.T) {
	text := head + "profile: semicolon-xor 1\nnote: two pieces: then unplugged\n\n# a remark\n0   23 31\n\n12 0d0A\n12 gone\n"
	want := Capture{MadeBy: "synthetic", Wrench: "TW-01", Profile: "semicolon-xor 1", Note: "two pieces: then unplugged",
		Chunks: []Chunk{{Bytes: []byte("#1")}, {At: 12 * time.Millisecond, Bytes: []byte("\r\n")}, {At: 12 * time.Millisecond, Gone: true}}}
	got, err := Read(strings.NewReader(text))
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v, %v, want %+v", got, err, want)
	}
}

func TestRead_Refused(t *testing.T) {
	for text, reason := range map[string]string{
		"":                                  "end of the file",
		"made by: x\n":                      "line 1",
		"format: witnessmark/capture/2\n":   "line 1",
		head:                                "", // nothing came in
		"format: witnessmark/capture/1\n\n": `"made by:" before`,
		head + "colour: red\n\n":            "line 4",
		head + "wrench: TW-02\n\n":          "each once",
		head + "note: a\rb\n\n":             "CR",
		head + "\n5 00\n4 00\n":             "no less than 5",
		head + "\n-1 00\n":                  "milliseconds",
		head + "\n99999999999999 00\n":      "milliseconds",
		head + "\n0 0\n":                    "hexadecimal",
		head + "\n0 zz\n":                   "hexadecimal",
		head + "\n0\n":                      "hexadecimal",
		head + "\n0 " + strings.Repeat("0", 2<<20): "too long",
	} {
		_, err := Read(strings.NewReader(text))
		if reason == "" {
			if err != nil {
				t.Errorf("%.60q: got %v, want no error", text, err)
			}
			continue
		}
		if err == nil || !strings.Contains(err.Error(), reason) {
			t.Errorf("%.60q: got %v, want an error with %q", text, err, reason)
		}
	}
}

func TestCapture_WrittenIsRead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		word := rapid.StringMatching(`[a-zN·:#;1-9][ -~]{0,20}[a-z]`)
		want := Capture{MadeBy: word.Draw(t, "made by"), Wrench: word.Draw(t, "wrench"), Note: word.Draw(t, "note")}
		var at time.Duration
		for range rapid.IntRange(0, 6).Draw(t, "chunks") {
			at += time.Duration(rapid.IntRange(0, 100_000).Draw(t, "pause")) * time.Millisecond
			chunk := Chunk{At: at, Gone: rapid.Bool().Draw(t, "gone")}
			if !chunk.Gone {
				chunk.Bytes = rapid.SliceOfN(rapid.Byte(), 1, 40).Draw(t, "bytes")
			}
			want.Chunks = append(want.Chunks, chunk)
		}
		var b bytes.Buffer
		if err := want.Write(&b); err != nil {
			t.Fatal(err)
		}
		got, err := Read(&b)
		if err != nil || !reflect.DeepEqual(got, want) {
			t.Fatalf("got %+v, %v, want %+v", got, err, want)
		}
	})
}

type full struct{ error }

func (f full) Write([]byte) (int, error) { return 0, f.error }

func TestCapture_WriteRefused(t *testing.T) {
	c := Capture{MadeBy: "synthetic", Wrench: "TW-01"}
	disk := errors.New("disk full")
	if err := c.Write(full{disk}); !errors.Is(err, disk) {
		t.Errorf("got %v, want the error of the writer", err)
	}
	c.Note = "two\nlines"
	if err := c.Write(io.Discard); err == nil {
		t.Error("a note of two lines: got no error, want one")
	}
	c.Note, c.MadeBy = "", ""
	if err := c.Write(io.Discard); err == nil {
		t.Error("without a maker: got no error, want one")
	}
}

func FuzzRead(f *testing.F) {
	f.Add(head + "\n0 23 31\n5 gone\n")
	f.Fuzz(func(t *testing.T, text string) {
		c, err := Read(strings.NewReader(text))
		if err != nil {
			return
		}
		var b bytes.Buffer
		if err := c.Write(&b); err != nil {
			t.Fatalf("what was read cannot be written: %v", err)
		}
		if again, err := Read(&b); err != nil || !reflect.DeepEqual(again, c) {
			t.Errorf("got %+v, %v, want %+v", again, err, c)
		}
	})
}
