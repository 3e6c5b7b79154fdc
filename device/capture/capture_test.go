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
	text := head + "profile: semicolon-xor 1\nnote: two pieces: then unplugged\nbegan: 2026-01-17T10:41:07.25+01:00\n\n# a remark\n0   23 31\n\n12 0d0A\n12 gone\n"
	want := Capture{MadeBy: "synthetic", Wrench: "TW-01", Profile: "semicolon-xor 1", Note: "two pieces: then unplugged",
		Began:  time.Date(2026, 1, 17, 9, 41, 7, 250e6, time.UTC),
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
		head + "began: yesterday\n\n":       "line 4: found \"yesterday\"",
		head + "began: 2026-01-17T09:41:07Z\nbegan: 2026-01-17T09:41:07Z\n\n": "each once",
		head + "began: 9999-12-31T23:59:59-01:00\n\n":                         "line 4", // beyond what can be written
		head + "began: 0000-01-01T00:00:00+01:00\n\n":                         "line 4",
		head + "began: 0001-01-01T00:00:00Z\n\n":                              "line 4", // stands for unknown
		head + "\n5 00\n4 00\n":                                               "no less than 5",
		head + "\n-1 00\n":                                                    "milliseconds",
		head + "\n99999999999999 00\n":                                        "milliseconds",
		head + "\n0 0\n":                                                      "hexadecimal",
		head + "\n0 zz\n":                                                     "hexadecimal",
		head + "\n0\n":                                                        "hexadecimal",
		head + "\n0 " + strings.Repeat("0", 2<<20):                            "too long",
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
		if rapid.Bool().Draw(t, "has begun") {
			want.Began = time.Unix(0, rapid.Int64().Draw(t, "began")).UTC()
		}
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

// A recording that breaks off anywhere gives its whole lines, and says so where the last line is more than cut.
func TestReadTorn_AnyCut(t *testing.T) {
	want := Capture{MadeBy: "synthetic", Wrench: "TW-01", Note: "torn", Chunks: []Chunk{{Bytes: []byte("#1;45")}, {At: 12 * time.Millisecond, Bytes: []byte("\r\n")},
		{At: time.Second, Gone: true}}}
	var b bytes.Buffer
	if err := want.Write(&b); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	for cut := range len(text) + 1 {
		got, tear, err := ReadTorn(strings.NewReader(text[:cut]))
		whole := text[:strings.LastIndexByte(text[:cut], '\n')+1]
		if len(whole) < len(head) {
			if err == nil {
				t.Errorf("cut at %d in the header: got no error, want one", cut)
			}
			continue
		}
		fromWhole, readErr := Read(strings.NewReader(whole))
		if tear != nil || err != nil || readErr != nil || !reflect.DeepEqual(got, fromWhole) {
			t.Errorf("cut at %d: got %+v, %v, %v, want %+v, %v", cut, got, tear, err, fromWhole, readErr)
		}
	}
	got, tear, err := ReadTorn(strings.NewReader(text + "1001  \x00\x00\n1002  00\n"))
	if err != nil || tear == nil || !strings.Contains(tear.Error(), "line 9") || !reflect.DeepEqual(got, want) {
		t.Errorf("with a line that cannot be read: got %+v, %v, %v, want all before line 9", got, tear, err)
	}
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
	f.Add(head + "began: 2026-01-17T09:41:07.25+01:00\n\n0 23 31\n5 gone\n")
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
