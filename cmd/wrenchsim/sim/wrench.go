package sim

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"witnessmark/device"
)

// Form is how a wrench writes a reading, and the line that acknowledges it. A *profile.Profile is one.
type Form interface {
	Encode(device.Reading) []byte
	Ack(device.Reading) []byte // nil: this form knows no acknowledgement
}

// Options is what a wrench is made of.
type Options struct {
	Wrench string
	Form   Form
	Line   Line
	Meter  Meter
	Clock  func() time.Time // the wrench's own clock
	Resend time.Duration    // a reading without acknowledgement is sent again after one to two of these; 0: on plugging in only
}

// ErrClosed ends a Send whose wrench was put away.
var ErrClosed = errors.New("the wrench was put away")

// Counts is what a wrench did so far.
type Counts struct {
	Sent   int // readings, each counted once
	Resent int // transmissions beyond the first
	Acked  int // readings acknowledged, or written where the form knows no acknowledgement
}

// Wrench is a simulated digital torque wrench with a memory: a reading stays in it, byte for byte, until it is
// acknowledged, however often the line is unplugged. Its methods may be called from several goroutines.
type Wrench struct {
	o Options

	mu      sync.Mutex // guards what follows
	conn    io.ReadWriteCloser
	memory  []*kept // oldest first
	last    *kept
	spoil   *Fault // for the next first transmission
	counter int64
	counts  Counts
	unplug  func() // nil: not plugged in
	closed  bool

	writing sync.Mutex // one frame at a time; taken without mu held, so that an acknowledgement is heard meanwhile
}

// kept is one reading in the memory.
type kept struct {
	frame, ack []byte
	bare       bool   // the acknowledgement is no line: it has no ending
	spoil      *Fault // for its first transmission
	sent       bool   // went out whole at least once
	rested     bool   // lay unacknowledged through one tick
	done       chan struct{}
}

// New makes a wrench that is not plugged in yet.
func New(o Options) *Wrench { return &Wrench{o: o, counter: o.Meter.First} }

// Addr is where the daemon finds the wrench.
func (w *Wrench) Addr() string { return w.o.Line.Addr() }

// Counts tells what the wrench did so far.
func (w *Wrench) Counts() Counts {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.counts
}

// Send is Put and the wait for its end.
func (w *Wrench) Send(ctx context.Context, r device.Reading) error {
	wait, err := w.Put(r)
	if err != nil {
		return err
	}
	return wait(ctx)
}

// Put puts the reading into the memory and, where the wrench is plugged in, on the line. The function returned waits:
// nil once the reading is acknowledged, or written whole where the form knows no acknowledgement. After an error of
// its ctx the reading stays in the memory and is sent again.
func (w *Wrench) Put(r device.Reading) (wait func(context.Context) error, err error) {
	ack := w.o.Form.Ack(r)
	k := &kept{frame: w.o.Form.Encode(r), ack: bytes.TrimRight(ack, "\r\n"), done: make(chan struct{})}
	k.bare = len(k.ack) == len(ack)
	if k.frame == nil {
		return nil, fmt.Errorf("send a reading of wrench %s: its form has no room for %s %s", w.o.Wrench, r.TorqueText, r.Unit)
	}
	w.mu.Lock()
	if w.closed {
		w.mu.Unlock()
		return nil, ErrClosed
	}
	w.memory, w.last = append(w.memory, k), k
	w.counts.Sent++
	k.spoil, w.spoil = w.spoil, nil
	conn := w.conn
	w.mu.Unlock()
	if conn != nil {
		w.transmit(conn, k)
	}
	return func(ctx context.Context) error { return w.wait(ctx, k) }, nil
}

func (w *Wrench) wait(ctx context.Context, k *kept) error {
	select {
	case <-k.done:
	case <-ctx.Done():
		return fmt.Errorf("wait for the acknowledgement of a reading of wrench %s: %w", w.o.Wrench, ctx.Err())
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.holds(k) {
		return ErrClosed
	}
	return nil
}

// Repeat sends the last reading once more, acknowledged or not, as a wrench does whose acknowledgement was lost.
// Without a line, or before the first reading, nothing goes out.
func (w *Wrench) Repeat() {
	w.mu.Lock()
	conn, k := w.conn, w.last
	w.mu.Unlock()
	if conn != nil && k != nil {
		w.transmit(conn, k)
	}
}

// holds reports whether the reading is still in the memory. mu is held.
func (w *Wrench) holds(k *kept) bool {
	for _, m := range w.memory {
		if m == k {
			return true
		}
	}
	return false
}

// transmit writes one frame. A line that fails is closed, which makes the wrench plug in again and send its memory;
// a line that nobody reads stays as it is, and the frame goes out with the next tick.
func (w *Wrench) transmit(conn io.ReadWriteCloser, k *kept) {
	w.mu.Lock()
	fault := k.spoil
	k.spoil = nil
	w.mu.Unlock()
	w.writing.Lock()
	whole, err := fault.write(conn, k.frame)
	w.writing.Unlock()
	if err == nil && !whole {
		conn.Close() // the battery failed in the middle of the frame
	}
	if err != nil {
		if !errors.Is(err, os.ErrDeadlineExceeded) {
			conn.Close() // its own error says no more than err did
		}
		return
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if k.sent {
		w.counts.Resent++
	}
	k.sent = k.sent || whole
	if whole && len(k.ack) == 0 {
		w.forget(k)
	}
}

// forget drops a reading from the memory. mu is held.
func (w *Wrench) forget(k *kept) {
	for i, m := range w.memory {
		if m == k {
			w.memory = append(w.memory[:i:i], w.memory[i+1:]...)
			w.counts.Acked++
			close(k.done)
			return
		}
	}
}

// acknowledged drops the oldest reading that the line acknowledges.
func (w *Wrench) acknowledged(line []byte) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, k := range w.memory {
		if len(k.ack) > 0 && bytes.Equal(line, k.ack) {
			w.forget(k)
			return
		}
	}
}

// heardBare looks for an acknowledgement that is no line, drops the oldest reading that it is for, and tells how many bytes
// that took; 0: there is none.
func (w *Wrench) heardBare(said []byte) int {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, k := range w.memory {
		if !k.bare || len(k.ack) == 0 {
			continue
		}
		if at := bytes.Index(said, k.ack); at >= 0 {
			w.forget(k)
			return at + len(k.ack)
		}
	}
	return 0
}

// due lists what is to be sent again, oldest first: all of the memory, or what rested through a whole tick. mu is held.
func (w *Wrench) due(all bool) []*kept {
	var due []*kept
	for _, k := range w.memory {
		if all || k.rested {
			due = append(due, k)
		}
		k.rested = true
	}
	return due
}

// again sends readings that were not acknowledged in the meantime.
func (w *Wrench) again(conn io.ReadWriteCloser, due []*kept) {
	for _, k := range due {
		select {
		case <-k.done:
		default:
			w.transmit(conn, k)
		}
	}
}
