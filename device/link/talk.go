package link

import (
	"bytes"
	"context"
	"errors"
	"fmt"
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
	given error // why we gave the port up; of the handler
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
	if t.given != nil && errors.Is(lost, port.ErrClosed) {
		lost = t.given // all that the reader saw is the close after it
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
			t.here.heard()
			if t.Evidence != nil {
				t.Evidence.Took(time.Now().UTC(), chunk[:n])
			}
			framer.Push(chunk[:n], t.enqueue)
		}
		if err != nil {
			t.lost = err
			t.port.Close() // hold closes it again and gets the same error
			if t.Evidence != nil {
				t.Evidence.Gone(time.Now().UTC())
			}
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
	hung := t.hung
	for {
		select {
		case f, more := <-t.queue:
			if !more {
				return nil
			}
			if err := t.take(late, f); err != nil {
				return err
			}
		case <-hung:
			t.drop(errSilent)
			hung = nil
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
	case res.Reading != nil && t.strange(*res.Reading):
		return t.refuse(late, t.stranger(*res.Reading))
	case res.Reading != nil:
		return t.reading(late, *res.Reading)
	case res.Refusal != nil:
		return t.refuse(late, *res.Refusal)
	}
	return nil
}

// strange says that another wrench is plugged in than the one that is expected here.
func (t *talk) strange(r device.Reading) bool {
	return t.Serial != "" && r.Serial != "" && r.Serial != t.Serial
}

func (t *talk) stranger(r device.Reading) device.Refusal {
	return device.Refusal{Wrench: t.Wrench, Reason: device.ReasonStranger, Raw: r.Raw, Detail: fmt.Sprintf(
		"found the wrench with serial number %s, expected %s: plug the right one in, or correct the configuration", r.Serial, t.Serial)}
}

func (t *talk) refuse(late context.Context, r device.Refusal) error {
	if err := t.Sink.Refusal(late, r); err != nil {
		return t.sunk("refused frame", err)
	}
	return nil
}

// reading acknowledges what is durable. A crash between Sink and acknowledgement makes the wrench send it again.
func (t *talk) reading(late context.Context, r device.Reading) error {
	if t.Memory.Look(&r) {
		t.here.resent()
	} else {
		if err := t.Sink.Reading(late, r); err != nil {
			return t.sunk("reading", err)
		}
		t.Memory.Keep(r)
	}
	t.say(t.Profile.Ack(r))
	return nil
}

// say sends something to the wrench; nil is nothing. A wrench that cannot be told comes back with a fresh connection,
// and sends again.
func (t *talk) say(line []byte) {
	if line == nil || t.given != nil {
		return
	}
	if _, err := t.port.Write(line); err != nil {
		t.drop(err)
	}
}

// drop gives the port up.
func (t *talk) drop(why error) {
	t.given = why
	t.port.Close() // hold closes it again and gets the same error
}
