package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	"witnessmark/device/capture"
	"witnessmark/device/port"
	"witnessmark/device/profile"
)

type wrenchListen struct {
	lineFlags
	Port   string        `arg:"" help:"A port such as ttyUSB0, /dev/serial/by-id/…, tcp://host:port, tcp-listen://host:port, or a capture file."`
	Record string        `help:"Write what comes to this file, as a capture." placeholder:"FILE"`
	MadeBy string        `help:"Of a capture: by whom and with what it was made." placeholder:"TEXT"`
	Wrench string        `help:"Of a capture: the id of the wrench." placeholder:"ID"`
	For    time.Duration `help:"Stop after this time, such as 30s; else at Ctrl-C." placeholder:"TIME"`
	Pause  time.Duration `help:"Show a silence that is at least so long." default:"20ms" placeholder:"TIME"`
	Ask    bool          `help:"Send the start-up commands and polls of the profile; else nothing is ever sent."`
}

// Help is the long help of the command.
func (wrenchListen) Help() string {
	return `Each line begins with the seconds since the start; then come up to 16 bytes in
hexadecimal and as text. A silence stands on a line of its own.

Readable text says that the line is set right. Noise (··␀·) says that the speed
is not: try --baud 4800, 19200, 115200, then --bits 7 --parity even. Nothing at
all: pull the wrench once; check the cable; a wrench that only answers must be
asked, which its profile knows: --profile … --ask.

Nothing is acknowledged: a wrench with a memory keeps its readings.`
}

// againAt is the pause before a port that went away is tried again.
const againAt = 300 * time.Millisecond

// Run shows bytes until it is interrupted; exit code 1 says that nothing came in the time given.
func (c *wrenchListen) Run(ctx context.Context, s shop) (err error) {
	mode, p, err := c.mode()
	if err != nil {
		return err
	}
	if c.Ask && p == nil {
		return inputError{errors.New("--ask sends what a profile says: name it with --profile")}
	}
	l := &listening{view: &byteView{out: s.out, pause: c.Pause}, began: time.Now()}
	if recorded, ok := captureFile(c.Port); ok {
		return l.play(recorded)
	}
	place, err := port.At(spec(c.Port), mode)
	if err != nil {
		return inputError{err}
	}
	if l.record, err = c.newRecord(l.began, p); err != nil {
		return err
	}
	if c.Ask {
		l.profile = p
	}
	limited, cancel := ctx, context.CancelFunc(func() {})
	if c.For > 0 {
		limited, cancel = context.WithTimeout(ctx, c.For)
	}
	defer cancel()
	l.opened = func() { fmt.Fprintf(s.log, "listening at %s; Ctrl-C ends\n", c.at(mode)) }
	err = errors.Join(l.listen(limited, place), place.Close(), l.record.Close(), l.view.err)
	if err != nil {
		return err
	}
	fmt.Fprintf(s.log, "%d bytes in %s\n", l.bytes, short(time.Since(l.began)))
	if l.bytes == 0 && ctx.Err() == nil {
		return errAttention
	}
	return nil
}

// at names the port and, where it has any, its settings.
func (c *wrenchListen) at(mode port.Mode) string {
	if strings.Contains(c.Port, "://") {
		return c.Port
	}
	return spec(c.Port) + " with " + settings(mode)
}

// captureFile tells a capture from a port.
func captureFile(source string) (path string, is bool) {
	if path, is = strings.CutPrefix(source, "capture://"); is {
		return path, true
	}
	fi, err := os.Stat(source)
	return source, err == nil && fi.Mode().IsRegular()
}

// listening is the command at work on a port.
type listening struct {
	view    *byteView
	began   time.Time
	opened  func()           // called when the port was opened for the first time
	bytes   int              // that came
	record  *record          // nil: none is made
	profile *profile.Profile // what the wrench is asked by; nil: it is not
}

// play shows a capture with its own times.
func (l *listening) play(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return inputError{fmt.Errorf("open the capture: %w", err)}
	}
	defer f.Close()
	recorded, err := capture.Read(f)
	if err != nil {
		return inputError{fmt.Errorf("%s: %w", path, err)}
	}
	for _, chunk := range recorded.Chunks {
		l.took(chunk.At, chunk.Bytes)
		if chunk.Gone {
			l.gone("gone")
		}
	}
	l.view.flush()
	return l.view.err
}

func (l *listening) took(at time.Duration, b []byte) {
	if len(b) > 0 {
		l.bytes += len(b)
		l.view.took(at, b)
		l.record.add(capture.Chunk{At: at, Bytes: b})
	}
}

func (l *listening) gone(why string) {
	l.view.flush()
	l.view.note(why)
}

// listen opens the place, and again when the port went away, until ctx ends. What cannot be opened the first time is
// an error: a name may be wrong.
func (l *listening) listen(ctx context.Context, place port.Place) error {
	for first := true; ctx.Err() == nil; first = false {
		p, err := place.Open(ctx)
		switch {
		case ctx.Err() != nil:
			if p != nil {
				return p.Close()
			}
			return nil
		case err != nil && first:
			return err
		case err != nil:
			rest(ctx, againAt)
			continue
		}
		if first {
			l.opened()
		} else {
			l.view.note("the port is back")
		}
		lost := l.talk(ctx, p)
		if err := p.Close(); err != nil {
			return err
		}
		if ctx.Err() == nil && lost != nil {
			l.gone("gone: " + lost.Error())
			l.record.add(capture.Chunk{At: time.Since(l.began), Gone: true})
		}
		if l.failed() {
			return nil // who began this asks for the error
		}
	}
	l.view.flush()
	return nil
}

func rest(ctx context.Context, d time.Duration) {
	select {
	case <-time.After(d):
	case <-ctx.Done():
	}
}

// piece is what one read gave, or why there is no more.
type piece struct {
	at    time.Duration
	bytes []byte
	lost  error
}

// talk shows one connection until it is lost or ctx ends.
func (l *listening) talk(ctx context.Context, p port.Port) (lost error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	pieces := make(chan piece)
	go l.read(ctx, p, pieces)
	if l.profile != nil {
		go ask(ctx, p, l.profile)
	}
	quiet := time.NewTimer(time.Hour)
	defer quiet.Stop()
	for {
		select {
		case got := <-pieces:
			l.took(got.at, got.bytes)
			if got.lost != nil || l.failed() {
				return got.lost
			}
			quiet.Reset(l.view.pause)
		case <-quiet.C:
			l.view.flush() // no row waits for its other bytes
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// read notes the time before anything else.
func (l *listening) read(ctx context.Context, p port.Port, pieces chan<- piece) {
	buf := make([]byte, 4096)
	for {
		n, err := p.Read(buf)
		got := piece{time.Since(l.began), bytes.Clone(buf[:n]), err}
		select {
		case pieces <- got:
		case <-ctx.Done():
			return
		}
		if err != nil {
			return
		}
	}
}

// ask sends what a profile says until ctx ends; that the port is gone shows where it is read.
func ask(ctx context.Context, p port.Port, by *profile.Profile) {
	for _, text := range by.Start() {
		_, _ = p.Write(text)
	}
	for _, call := range by.Calls() {
		go func() {
			for ctx.Err() == nil {
				_, _ = p.Write(call.Text)
				rest(ctx, call.Every)
			}
		}()
	}
}
