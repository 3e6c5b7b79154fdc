// Package capture reads and writes recordings of what a port received, as text that a person can read and edit:
//
//	format: witnessmark/capture/1
//	made by: synthetic, a simulated wrench with noise put in by hand
//	wrench: TW-01
//	profile: semicolon-xor 1
//	began: 2026-01-17T09:41:07.25Z
//
//	# milliseconds since the start, then what came in one piece
//	0     23 31 3b 34 35 2e 32
//	12    3b 4e 6d 0d 0a
//	900   gone
//
// The header says where the bytes come from: a recording without that is refused. "began" is the time of 0 by the clock
// of the machine that recorded, where one is known. "gone" is a port that went away; what follows it came after the port
// was back.
package capture

import (
	"bufio"
	"bytes"
	"encoding/hex"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
)

// Format is the first line of every capture of this version.
const Format = "witnessmark/capture/1"

// maxMillis is a year; a recording is not longer.
const maxMillis = 366 * 24 * 3600 * 1000

// Capture is one recording.
type Capture struct {
	MadeBy  string    // by whom and with what: "synthetic, …", or the wrench and the date
	Wrench  string    // the wrench's id
	Profile string    // name and version of the profile that it speaks by; empty: unknown
	Note    string    // optional
	Began   time.Time // when Chunk.At was 0; zero: unknown
	Chunks  []Chunk
}

// Chunk is what came in one piece.
type Chunk struct {
	At    time.Duration // since the start, whole milliseconds, never before the chunk before it
	Bytes []byte        // nil if Gone
	Gone  bool          // the port went away
}

// entry is one key of the header.
type entry struct {
	key   string
	must  bool
	value string // empty: not there
	read  func(value string) error
}

// header gives the keys of the header in their order.
func (c *Capture) header() []entry {
	text := func(key string, must bool, into *string) entry {
		return entry{key, must, *into, func(value string) error { *into = value; return nil }}
	}
	began := ""
	if !c.Began.IsZero() {
		began = c.Began.UTC().Format(time.RFC3339Nano)
	}
	return []entry{
		text("made by", true, &c.MadeBy),
		text("wrench", true, &c.Wrench),
		text("profile", false, &c.Profile),
		text("note", false, &c.Note),
		{"began", false, began, c.readBegan},
	}
}

func (c *Capture) readBegan(value string) error {
	began, err := time.Parse(time.RFC3339Nano, value)
	if began = began.UTC(); err != nil || began.IsZero() || began.Year() < 0 || began.Year() > 9999 {
		return fmt.Errorf("found %.60q, expected a time like 2026-01-17T09:41:07Z", value)
	}
	c.Began = began
	return nil
}

// Read reads a recording. The error names the line.
func Read(r io.Reader) (Capture, error) {
	c, err := read(r, bufio.ScanLines)
	if err != nil {
		return Capture{}, err
	}
	return c, nil
}

// ReadTorn reads what there is of a recording that may break off: one that is being written, or was when the machine
// stopped. It gives what stands in whole lines before the first that cannot be read, and tear, which says why it ends
// there; nil: at the end of the last whole line. It is an err if not even a maker and a wrench can be read.
func ReadTorn(r io.Reader) (c Capture, tear, err error) {
	c, tear = read(r, wholeLines)
	if c.MadeBy == "" || c.Wrench == "" {
		return Capture{}, nil, tear
	}
	return c, tear, nil
}

// wholeLines leaves out a last line that has no end: of what it says, the end may be missing too.
func wholeLines(text []byte, atEOF bool) (advance int, line []byte, err error) {
	if atEOF && bytes.IndexByte(text, '\n') < 0 {
		return len(text), nil, nil
	}
	return bufio.ScanLines(text, atEOF)
}

// read gives what it could read beside the error that ended it.
func read(r io.Reader, split bufio.SplitFunc) (Capture, error) {
	var c Capture
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, 1<<20)
	lines.Split(split)
	read := c.readFormat
	for no := 1; lines.Scan(); no++ {
		text := strings.TrimSpace(lines.Text())
		if strings.HasPrefix(text, "#") {
			continue
		}
		next, err := read(text)
		if err != nil {
			return c, fmt.Errorf("read capture: line %d: %w", no, err)
		}
		read = next
	}
	if err := lines.Err(); err != nil {
		return c, fmt.Errorf("read capture: %w", err)
	}
	if c.MadeBy == "" || c.Wrench == "" {
		return c, fmt.Errorf("read capture: found the end of the file, expected a header that says made by and wrench")
	}
	return c, nil
}

// step reads one line and says how the next one is to be read.
type step func(text string) (step, error)

func (c *Capture) readFormat(text string) (step, error) {
	if text != "format: "+Format {
		return nil, fmt.Errorf("found %.60q, expected %q", text, "format: "+Format)
	}
	return c.readHeader, nil
}

func (c *Capture) readHeader(text string) (step, error) {
	if text == "" {
		for _, h := range c.header() {
			if h.must && h.value == "" {
				return nil, fmt.Errorf("found the end of the header, expected %q before it", h.key+":")
			}
		}
		return c.readChunk, nil
	}
	key, value, _ := strings.Cut(text, ":")
	if strings.Contains(value, "\r") {
		return nil, fmt.Errorf("found a CR in the middle of a line, expected lines that end with LF or CRLF")
	}
	for _, h := range c.header() {
		if h.key == key && h.value == "" {
			return c.readHeader, h.read(strings.TrimSpace(value))
		}
	}
	return nil, fmt.Errorf("found %.60q, expected made by, wrench, profile, note or began, each once", text)
}

func (c *Capture) readChunk(text string) (step, error) {
	if text == "" {
		return c.readChunk, nil
	}
	at, rest, _ := strings.Cut(text, " ")
	ms, err := strconv.ParseUint(at, 10, 63)
	if err != nil || ms > maxMillis {
		return nil, fmt.Errorf("found %.60q, expected milliseconds", at)
	}
	chunk := Chunk{At: time.Duration(ms) * time.Millisecond}
	if n := len(c.Chunks); n > 0 && chunk.At < c.Chunks[n-1].At {
		return nil, fmt.Errorf("found %d ms, expected no less than %d", ms, c.Chunks[n-1].At.Milliseconds())
	}
	if strings.TrimSpace(rest) == "gone" {
		chunk.Gone = true
	} else if chunk.Bytes, err = hex.DecodeString(strings.ReplaceAll(rest, " ", "")); err != nil || len(chunk.Bytes) == 0 {
		return nil, fmt.Errorf("found %.60q, expected bytes in hexadecimal, or gone", rest)
	}
	c.Chunks = append(c.Chunks, chunk)
	return c.readChunk, nil
}

// Write writes the capture so that Read gives it back.
func (c Capture) Write(w io.Writer) error {
	var b bytes.Buffer
	fmt.Fprintf(&b, "format: %s\n", Format)
	for _, h := range c.header() {
		if strings.ContainsAny(h.value, "\r\n") || h.must && h.value == "" {
			return fmt.Errorf("write capture: found %q for %q, expected one line of text", h.value, h.key)
		}
		if h.value != "" {
			fmt.Fprintf(&b, "%s: %s\n", h.key, h.value)
		}
	}
	b.WriteString("\n")
	text := b.Bytes()
	for _, chunk := range c.Chunks {
		text = chunk.Append(text)
	}
	if _, err := w.Write(text); err != nil {
		return fmt.Errorf("write capture: %w", err)
	}
	return nil
}

// Append writes the chunk as a line of a capture behind text, and gives both. It belongs behind the chunks before it.
func (c Chunk) Append(text []byte) []byte {
	start := len(text)
	text = strconv.AppendInt(text, c.At.Milliseconds(), 10)
	for len(text) < start+5 {
		text = append(text, ' ')
	}
	if c.Gone {
		return append(text, " gone\n"...)
	}
	for _, b := range c.Bytes {
		text = append(text, ' ', hexDigits[b>>4], hexDigits[b&15])
	}
	return append(text, '\n')
}

const hexDigits = "0123456789abcdef"
