package sim

import (
	"fmt"
	"io"
)

// Fault spoils one transmission of a frame; a re-send goes out clean.
type Fault struct {
	Noise []byte // goes out before the frame
	Flip  int    // this bit of the frame is turned over, counted from 1; 0: none
	Split int    // the frame goes out in pieces of so many bytes; 0: in one piece
	Cut   int    // only so many bytes go out, then the line breaks as when the battery fails; 0: all
}

// Spoil spoils the next reading that Send puts out.
func (w *Wrench) Spoil(f Fault) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.spoil = &f
}

// Noise sends bytes that are no frame, at once; without a line they are lost.
func (w *Wrench) Noise(b []byte) error {
	w.mu.Lock()
	conn := w.conn
	w.mu.Unlock()
	if conn == nil {
		return nil
	}
	w.writing.Lock()
	defer w.writing.Unlock()
	if _, err := conn.Write(b); err != nil {
		return fmt.Errorf("send noise from wrench %s: %w", w.o.Wrench, err)
	}
	return nil
}

// write puts the frame out, spoiled; whole is false where part of it was held back. A nil fault spoils nothing.
func (f *Fault) write(out io.Writer, frame []byte) (whole bool, err error) {
	if f == nil {
		_, err := out.Write(frame)
		return err == nil, err
	}
	bytes := append([]byte(nil), frame...)
	if bit := f.Flip - 1; bit >= 0 && bit/8 < len(bytes) {
		bytes[bit/8] ^= 1 << (bit % 8)
	}
	if f.Cut > 0 && f.Cut < len(bytes) {
		bytes = bytes[:f.Cut]
	}
	if len(f.Noise) > 0 {
		if _, err := out.Write(f.Noise); err != nil {
			return false, err
		}
	}
	size := f.Split
	if size <= 0 {
		size = len(bytes)
	}
	for rest := bytes; len(rest) > 0; rest = rest[min(size, len(rest)):] {
		if _, err := out.Write(rest[:min(size, len(rest))]); err != nil {
			return false, err
		}
	}
	return len(bytes) == len(frame), nil
}
