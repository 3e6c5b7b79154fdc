package link

import (
	"sync"
	"time"

	"witnessmark/device/frame"
)

// ear cuts what the port gives into frames, in some forms with the help of a clock: there a silence ends a frame.
type ear struct {
	gap  time.Duration     // 0: the framer needs no clock
	emit func(frame.Frame) // may wait

	mu     sync.Mutex // guards the rest: the reader and the timer have a goroutine each
	framer *frame.Framer
	heard  time.Time   // when the framer was last done with what came
	timer  *time.Timer // ends when the line was silent for gap
}

func newEar(p Profile, emit func(frame.Frame)) *ear {
	e := &ear{gap: p.Gap(), emit: emit, framer: p.NewFramer()}
	e.timer = time.AfterFunc(time.Hour, e.silence)
	e.timer.Stop()
	return e
}

// take cuts the next bytes. The silence counts from when that is done: while emit waits, what comes next lies unread
// in the system, and the line only seems to be silent.
func (e *ear) take(b []byte) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.timer.Stop()
	e.framer.Push(b, e.emit)
	e.heard = time.Now()
	if e.gap > 0 {
		e.timer.Reset(e.gap)
	}
}

// silence ends a frame, unless something came while it waited for its turn.
func (e *ear) silence() {
	e.mu.Lock()
	defer e.mu.Unlock()
	if time.Since(e.heard) >= e.gap {
		e.framer.Silence(e.emit)
	}
}

// end takes the end of the port. A frame that was begun comes out as torn; a silence has nothing left to end.
func (e *ear) end() {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.timer.Stop()
	if tail, torn := e.framer.End(); torn {
		e.emit(tail)
	}
}
