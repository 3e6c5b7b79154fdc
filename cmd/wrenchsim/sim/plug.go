package sim

import (
	"bytes"
	"context"
	"io"
	"time"
)

// redial is the pause before a line that did not open is tried again.
const redial = 50 * time.Millisecond

// maxAck bounds what is kept of a line that the peer does not end.
const maxAck = 4096

// Plug plugs the wrench in. It returns at once for TCP, where the peer may be late; on a pseudo-terminal the device is
// there when it returns. Plugging in twice is no error.
func (w *Wrench) Plug(ctx context.Context) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.closed {
		return ErrClosed
	}
	if w.unplug != nil {
		return nil
	}
	var first io.ReadWriteCloser
	if _, ok := w.o.Line.(atOnce); ok {
		var err error
		if first, err = w.o.Line.Open(ctx); err != nil {
			return err
		}
	}
	run, cancel := context.WithCancel(context.WithoutCancel(ctx))
	done := make(chan struct{})
	w.unplug = func() { cancel(); <-done }
	go func() {
		defer close(done)
		w.keep(run, first)
	}()
	return nil
}

// atOnce marks a line whose Open does not wait for a peer.
type atOnce interface{ atOnce() }

// Unplug pulls the plug; what lies in the memory stays there. It returns when the device is gone.
func (w *Wrench) Unplug() {
	w.mu.Lock()
	unplug := w.unplug
	w.unplug = nil
	w.mu.Unlock()
	if unplug != nil {
		unplug()
	}
}

// Plugged reports whether the wrench is plugged in, heard or not.
func (w *Wrench) Plugged() bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.unplug != nil
}

// Close unplugs the wrench and puts it away for good; a Send under way ends with ErrClosed.
func (w *Wrench) Close() error {
	w.Unplug()
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.closed {
		return nil
	}
	w.closed = true
	for _, k := range w.memory {
		close(k.done)
	}
	return w.o.Line.Close()
}

// keep holds the line open until ctx ends, whatever the peer does.
func (w *Wrench) keep(ctx context.Context, conn io.ReadWriteCloser) {
	for ctx.Err() == nil {
		if conn == nil {
			var err error
			if conn, err = w.o.Line.Open(ctx); err != nil {
				rest(ctx, redial)
				conn = nil
				continue
			}
		}
		w.converse(ctx, conn)
		conn = nil
	}
	if conn != nil {
		conn.Close() // unplugged before a word was said
	}
}

// converse sends the memory, listens for acknowledgements and sends again, until the line or ctx ends.
func (w *Wrench) converse(ctx context.Context, conn io.ReadWriteCloser) {
	ctx, cancel := context.WithCancel(ctx)
	ticked := make(chan struct{})
	stop := context.AfterFunc(ctx, func() { conn.Close() }) // ends hear, and a write under way
	w.mu.Lock()
	w.conn = conn
	due := w.due(true) // with the line set under the same lock: a reading goes out here or in Send, never in both
	w.mu.Unlock()
	go func() {
		defer close(ticked)
		w.again(conn, due)
		w.tick(ctx, conn)
	}()
	w.hear(conn)
	w.mu.Lock()
	w.conn = nil
	w.mu.Unlock()
	if stop() {
		conn.Close() // the peer hung up: nothing is left to say about it
	}
	cancel()
	<-ticked
}

// tick sends again what lay in the memory through a whole interval.
func (w *Wrench) tick(ctx context.Context, conn io.ReadWriteCloser) {
	if w.o.Resend <= 0 {
		return
	}
	t := time.NewTicker(w.o.Resend)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-t.C:
			w.mu.Lock()
			due := w.due(false)
			w.mu.Unlock()
			w.again(conn, due)
		}
	}
}

// hear takes what the peer says, line by line or as it stands, until the line ends.
func (w *Wrench) hear(conn io.Reader) {
	var said []byte
	chunk := make([]byte, 512)
	for {
		n, err := conn.Read(chunk)
		said = append(said, chunk[:n]...)
		for taken := w.heardBare(said); taken > 0; taken = w.heardBare(said) {
			said = said[taken:]
		}
		for {
			end := bytes.IndexAny(said, "\r\n")
			if end < 0 {
				break
			}
			w.acknowledged(said[:end])
			said = said[end+1:]
		}
		if len(said) > maxAck {
			said = nil
		}
		if err != nil {
			return
		}
	}
}

// rest waits, or until ctx ends.
func rest(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
	case <-t.C:
	}
}
