package link

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"time"

	"witnessmark/device"
	"witnessmark/device/evidence"
	"witnessmark/device/frame"
	"witnessmark/device/port"
)

// talk is one connection: a goroutine that reads the port, and the one that called hold, which handles.
type talk struct {
	*keeper
	port  port.Port
	queue chan arrived // closed by the reader when the port is gone
	lost  error        // why the port is gone; of the reader until the queue is closed

	// Of the handler.
	limit evidence.Limiter
	heard bool  // something came that a wrench of this form sends
	given error // why we gave the port up
}

// arrived is a frame and when the last of its bytes were read from the port.
type arrived struct {
	frame.Frame
	at time.Time
}

// answering is a port that asks the wrench by itself and gives nothing while there is nothing new: it tells when the
// wrench answered all the same.
type answering interface{ Answered(tell func()) }

func newTalk(k *keeper, p port.Port) *talk {
	return &talk{keeper: k, port: p, queue: make(chan arrived, Queue)}
}

// hold returns when the port is gone, ctx has ended or the sink has failed, and the port is closed.
func (t *talk) hold(ctx, late context.Context) (heard bool, lost, err error) {
	if a, tells := t.port.(answering); tells {
		a.Answered(t.here.heard)
	}
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

// read puts frames into the queue until the port is gone. The port is closed at once, however far the sink is behind:
// while a dead one is held, the next plug gets another name.
func (t *talk) read() {
	defer close(t.queue)
	e := newEar(t.Profile, t.enqueue)
	chunk := make([]byte, 4096)
	for {
		n, err := t.port.Read(chunk)
		if n > 0 {
			t.here.heard()
			if t.Evidence != nil {
				t.Evidence.Took(time.Now().UTC(), chunk[:n])
			}
			e.take(chunk[:n])
		}
		if err != nil {
			t.lost = err
			t.port.Close() // hold closes it again and gets the same error
			if t.Evidence != nil {
				t.Evidence.Gone(time.Now().UTC())
			}
			e.end()
			return
		}
	}
}

// enqueue waits while the queue is full: the system's own buffer is the next to fill, and then the wrench's.
func (t *talk) enqueue(f frame.Frame) {
	f.Bytes = bytes.Clone(f.Bytes)
	t.queue <- arrived{f, time.Now()}
}

// handle takes frames until the queue is closed or ctx ends, and then what the queue holds at that moment.
func (t *talk) handle(ctx, late context.Context) error {
	for _, line := range t.Profile.Start() {
		t.say(line)
	}
	calls := newCalls(t.Profile.Calls())
	defer calls.timer.Stop()
	hung := t.hung
	for {
		select {
		case f, more := <-t.queue:
			if !more {
				return t.calm(late)
			}
			if err := t.take(late, f); err != nil {
				return err
			}
		case <-calls.timer.C:
			calls.say(t.here.silent(), t.say)
		case <-hung:
			t.drop(errSilent)
			hung = nil
		case <-ctx.Done():
			for range len(t.queue) {
				if err := t.take(late, <-t.queue); err != nil {
					return err
				}
			}
			return t.calm(late)
		}
	}
}

// take brings one frame to the sink and answers it.
func (t *talk) take(late context.Context, f arrived) error {
	res := t.Profile.Decode(t.Wrench, f.Frame)
	if r := res.Reading; r != nil && t.Serial != "" && r.Serial != "" && r.Serial != t.Serial {
		return t.refuse(late, stranger(*r, t.Serial), nil)
	}
	switch {
	case res.Reading != nil:
		return t.reading(late, *res.Reading, f.at)
	case res.Refusal != nil && res.Answer != nil:
		return t.refuse(late, *res.Refusal, res.Answer)
	case res.Refusal != nil:
		return t.refuse(late, *res.Refusal, t.Profile.Refuse(*res.Refusal))
	}
	t.heard = true
	return nil
}

// stranger refuses a reading of another wrench than the one with the expected serial number. It gets no answer: the
// wrench keeps the reading for whom it belongs to.
func stranger(r device.Reading, expected string) device.Refusal {
	return device.Refusal{Wrench: r.Wrench, Reason: device.ReasonStranger, Raw: r.Raw, Detail: fmt.Sprintf(
		"found the wrench with serial number %s, expected %s: plug the right one in, or correct the configuration", r.Serial, expected)}
}

// reading acknowledges what is durable. A crash between Sink and acknowledgement makes the wrench send it again.
func (t *talk) reading(late context.Context, r device.Reading, came time.Time) error {
	t.heard = true
	if err := t.calm(late); err != nil {
		return err
	}
	resent := t.Memory.Look(&r)
	if resent {
		t.here.resent()
	} else {
		number, err := t.Sink.Reading(late, r, came)
		if err != nil {
			return t.sunk("reading", err)
		}
		t.Memory.Keep(number, r)
	}
	t.say(t.Profile.Ack(r))
	if !resent {
		t.judge(late, r)
	}
	return nil
}

// judge tells the wrench whether the reading was right, where it can show that and somebody knows.
func (t *talk) judge(late context.Context, r device.Reading) {
	j, is := t.Sink.(Judge)
	pass, fail := t.Profile.Tell(r, true), t.Profile.Tell(r, false)
	if !is || pass == nil && fail == nil {
		return
	}
	switch right, known := j.Verdict(late, r); {
	case known && right:
		t.say(pass)
	case known:
		t.say(fail)
	}
}

// refuse records a refused frame, and answers it once that is done. Of a flood of them most are only counted, and get no
// answer: a wrench that needs one sends the frame again.
func (t *talk) refuse(late context.Context, r device.Refusal, answer []byte) error {
	now, record := t.limit.Refused(time.Now(), r)
	if !record {
		return nil
	}
	if err := t.record(late, now); err != nil {
		return err
	}
	t.say(answer)
	return nil
}

// calm ends a flood of refused frames: what was only counted until now is recorded.
func (t *talk) calm(late context.Context) error {
	for _, r := range t.limit.Over() {
		if err := t.record(late, r); err != nil {
			return err
		}
	}
	return nil
}

func (t *talk) record(late context.Context, r device.Refusal) error {
	if err := t.Sink.Refusal(late, r); err != nil {
		return t.sunk("refused frame", err)
	}
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
