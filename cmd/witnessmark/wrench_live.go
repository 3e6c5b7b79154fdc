package main

import (
	"bytes"
	"context"
	"errors"
	"time"

	"witnessmark/device/port"
	"witnessmark/device/trial"
)

// talk plays one connection through the trial until it is lost or ctx ends, and closes the port.
func (c *wrenchTry) talk(ctx context.Context, t *trying, p port.Port, since func() time.Duration) (heard bool, lost error) {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	one := trial.New(t.profile, "tried", t.took)
	chunks, end := read(p)
	if !c.Listen {
		go ask(ctx, p, t.profile)
	}
	quiet := time.NewTimer(time.Hour)
	defer quiet.Stop()
	defer func() {
		lost = errors.Join(lost, p.Close())
		for range chunks { // the reader must not wait for room
		}
		one.Gone(since())
	}()
	for {
		select {
		case b, more := <-chunks:
			if !more {
				return heard, <-end
			}
			heard = true
			one.Took(since(), b)
			if gap := t.profile.Gap(); gap > 0 {
				quiet.Reset(gap)
			}
		case <-quiet.C:
			one.Silent(since())
		case <-ctx.Done():
			return heard, ctx.Err()
		}
	}
}

// read hands on what comes until the port is closed or gone; end then says why.
func read(p port.Port) (chunks chan []byte, end chan error) {
	chunks, end = make(chan []byte), make(chan error, 1)
	go func() {
		defer close(chunks)
		buf := make([]byte, 4096)
		for {
			n, err := p.Read(buf)
			if n > 0 {
				chunks <- bytes.Clone(buf[:n])
			}
			if err != nil {
				end <- err
				return
			}
		}
	}()
	return chunks, end
}
