package link

import (
	"bytes"
	"context"
	"errors"
	"time"

	"witnessmark/device"
	"witnessmark/device/frame"
	"witnessmark/device/port"
)

// talk is one connection: a goroutine that reads the port, and the one that called hold, which handles.
type talk struct {
	*keeper
	port  port.Port
	queue chan frame.Frame // closed by the reader when the port is gone

	heard bool  // any byte came; of the reader until the queue is closed
	lost  error // why the port is gone; of the reader until the queue is closed
	deaf  error // why the wrench can be acknowledged no more; of the handler
}

func newTalk(k *keeper, p port.Port) *talk {
	return &talk{keeper: k, port: p, queue: make(chan frame.Frame, Queue)}
}

// hold returns when the port is gone, ctx has ended or the sink has failed, and the port is closed.
func (t *talk) hold(ctx, late context.Context) (heard bool, lost, err error) {
	go t.read()
	err = t.handle(ctx, late)
	shut := t.port.Close()
	for range t.queue { // nobody acknowledged these; the reader must not wait for room, and is then through
	}
	lost = t.lost
	if t.deaf != nil && errors.Is(lost, port.ErrClosed) {
		lost = t.deaf // all that the reader saw is the close after it
	}
	if shut != nil {
		lost = shut
	}
	return t.heard, lost, err
}

// read puts frames into the queue until the port is gone. A frame that was begun comes last, as torn. The port is
// closed at once, however far the sink is behind: while a dead one is held, the next plug gets another name.
func (t *talk) read() {
	defer close(t.queue)
	framer := t.Profile.NewFramer()
	chunk := make([]byte, 4096)
	for {
		n, err := t.port.Read(chunk)
		if n > 0 {
			t.heard = true
			t.tell(func(s *State) { s.Seen = time.Now().UTC() })
			framer.Push(chunk[:n], t.enqueue)
		}
		if err != nil {
			t.lost = err
			t.port.Close() // hold closes it again and gets the same error
			if tail, torn := framer.End(); torn {
				t.enqueue(tail)
			}
			return
		}
	}
}

// enqueue waits while the queue is full: the system's own buffer is the next to fill, and then the wrench's.
func (t *talk) enqueue(f frame.Frame) {
	f.Bytes = bytes.Clone(f.Bytes)
	t.queue <- f
}

// handle takes frames until the queue is closed or ctx ends, and then what the queue holds at that moment.
func (t *talk) handle(ctx, late context.Context) error {
	for {
		select {
		case f, more := <-t.queue:
			if !more {
				return nil
			}
			if err := t.take(late, f); err != nil {
				return err
			}
		case <-ctx.Done():
			for range len(t.queue) {
				if err := t.take(late, <-t.queue); err != nil {
					return err
				}
			}
			return nil
		}
	}
}

// take brings one frame to the sink.
func (t *talk) take(late context.Context, f frame.Frame) error {
	switch res := t.Profile.Decode(t.Wrench, f); {
	case res.Reading != nil:
		return t.reading(late, *res.Reading)
	case res.Refusal != nil:
		if err := t.Sink.Refusal(late, *res.Refusal); err != nil {
			return t.sunk("refused frame", err)
		}
	}
	return nil
}

// reading acknowledges what is durable. A crash between Sink and acknowledgement makes the wrench send it again.
func (t *talk) reading(late context.Context, r device.Reading) error {
	if t.recent.holds(r) {
		t.tell(func(s *State) { s.Resent++ })
	} else {
		if err := t.Sink.Reading(late, r); err != nil {
			return t.sunk("reading", err)
		}
		t.recent.add(r)
	}
	t.acknowledge(r)
	return nil
}

// acknowledge gives up the port when the wrench cannot be told: it comes back with a fresh connection, and sends again.
func (t *talk) acknowledge(r device.Reading) {
	line := t.Profile.Ack(r)
	if line == nil || t.deaf != nil {
		return
	}
	if _, err := t.port.Write(line); err != nil {
		t.deaf = err
		t.port.Close() // as above
	}
}
