// Package capture reads and writes recordings of what a port received, as text that a person can read and edit:
//
//	format: witnessmark/capture/1
//	made by: synthetic, a simulated wrench with noise put in by hand
//	wrench: TW-01
//	profile: semicolon-xor 1
//
//	# milliseconds since the start, then what came in one piece
//	0     23 31 3b 34 35 2e 32
//	12    3b 4e 6d 0d 0a
//	900   gone
//
// The header says where the bytes come from: a recording without that is refused. "gone" is a port that went away;
// what follows it came after the port was back.
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
	MadeBy  string // by whom and with what: "synthetic, …", or the wrench and the date
	Wrench  string // the wrench's id
	Profile string // name and version of the profile that it speaks by; empty: unknown
	Note    string // optional
	Chunks  []Chunk
}

// Chunk is what came in one piece.
type Chunk struct {
	At    time.Duration // since the start, whole milliseconds, never before the chunk before it
	Bytes []byte        // nil if Gone
	Gone  bool          // the port went away
}

// header gives the keys of the header in their order.
func (c *Capture) header() []struct {
	key  string
	into *string
	must bool
} {
	return []struct {
		key  string
		into *string
		must bool
	}{
		{"made by", &c.MadeBy, true},
		{"wrench", &c.Wrench, true},
		{"profile", &c.Profile, false},
		{"note", &c.Note, false},
	}
}

// Read reads a recording. The error names the line.
func Read(r io.Reader) (Capture, error) {
	var c Capture
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, 1<<20)
	read := c.readFormat
	for no := 1; lines.Scan(); no++ {
		text := strings.TrimSpace(lines.Text())
		if strings.HasPrefix(text, "#") {
			continue
		}
		next, err := read(text)
		if err != nil {
			return Capture{}, fmt.Errorf("read capture: line %d: %w", no, err)
		}
		read = next
	}
	if err := lines.Err(); err != nil {
		return Capture{}, fmt.Errorf("read capture: %w", err)
	}
	if c.MadeBy == "" || c.Wrench == "" {
		return Capture{}, fmt.Errorf("read capture: found the end of the file, expected a header that says made by and wrench")
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
			if h.must && *h.into == "" {
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
		if h.key == key && *h.into == "" {
			*h.into = strings.TrimSpace(value)
			return c.readHeader, nil
		}
	}
	return nil, fmt.Errorf("found %.60q, expected made by, wrench, profile or note, each once", text)
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
		if strings.ContainsAny(*h.into, "\r\n") || h.must && *h.into == "" {
			return fmt.Errorf("write capture: found %q for %q, expected one line of text", *h.into, h.key)
		}
		if *h.into != "" {
			fmt.Fprintf(&b, "%s: %s\n", h.key, *h.into)
		}
	}
	b.WriteString("\n")
	for _, chunk := range c.Chunks {
		what := fmt.Sprintf("% x", chunk.Bytes)
		if chunk.Gone {
			what = "gone"
		}
		fmt.Fprintf(&b, "%-5d %s\n", chunk.At.Milliseconds(), what)
	}
	if _, err := w.Write(b.Bytes()); err != nil {
		return fmt.Errorf("write capture: %w", err)
	}
	return nil
}
