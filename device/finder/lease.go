package finder

import (
	"fmt"
	"time"

	"witnessmark/device/port"
)

// lease is a port as one wrench has it: what comes there until it turns out to be another one's. It is a port.Port.
type lease struct {
	tap   *tap
	place *Place

	// Guarded by the board's lock.
	pieces
	until  time.Time // a pause is played to the reader until then
	spoken bool      // the wrench has said its serial number here
	taken  bool      // it was handed out
	closed bool
	lost   error // why nothing more comes, though the port is open
}

// lose ends the lease; the last bytes were another one's, as far as they are still here.
func (l *lease) lose(others int, why error) {
	l.cut(others)
	l.lost = why
	l.tap.moved.Broadcast()
}

// Read gives what is there before it says that nothing more comes.
func (l *lease) Read(p []byte) (int, error) {
	t := l.tap
	t.board.mu.Lock()
	defer t.board.mu.Unlock()
	for {
		switch {
		case l.closed:
			return 0, fmt.Errorf("read %s: %w", t.node, port.ErrClosed)
		case time.Now().Before(l.until):
		case len(l.bytes) > 0 || len(p) == 0:
			return l.take(p), nil
		case l.lost != nil:
			return 0, l.lost
		case t.over != nil:
			return 0, t.over
		}
		t.moved.Wait()
	}
}

// take gives bytes up to the next pause, and begins that.
func (l *lease) take(p []byte) int {
	upTo, pause := l.next()
	n := copy(p, l.bytes[:upTo])
	l.drop(n)
	if pause && n == upTo {
		wait := playFor(l.place.profile.Gap())
		l.until = time.Now().Add(wait)
		time.AfterFunc(wait, l.tap.moved.Broadcast)
	}
	l.tap.moved.Broadcast()
	return n
}

// Write sends to this wrench only: once another one has the port nothing goes there.
func (l *lease) Write(p []byte) (int, error) {
	l.tap.board.mu.Lock()
	closed, lost := l.closed, l.lost
	l.tap.board.mu.Unlock()
	switch {
	case closed:
		return 0, fmt.Errorf("write %s: %w", l.tap.node, port.ErrClosed)
	case lost != nil:
		return 0, lost
	}
	return l.tap.port.Write(p)
}

// Close gives the port back, unless another wrench has it by now.
func (l *lease) Close() error {
	t := l.tap
	t.board.mu.Lock()
	l.closed = true
	if l.place.lease == l {
		l.place.lease = nil
	}
	mine := t.owner == l
	t.moved.Broadcast()
	t.board.mu.Unlock()
	if mine {
		return t.port.Close()
	}
	return nil
}
