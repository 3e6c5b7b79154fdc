package port

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"

	"witnessmark/device/capture"
)

const captureScheme = "capture://"

// LongestPause bounds the pauses of a capture that is played with them: no gap that ends a frame is longer, and nobody
// wants to sit through a night at the bench again.
const LongestPause = time.Second

// recorded plays a capture file, for trying a profile or telling a story again: its bytes come as fast as they are
// taken, or with the pauses of then, in the pieces they came in, and the port goes away where it went away then. It
// plays from the beginning each time a Place is made.
type recorded struct {
	path   string
	pauses bool
	chunks []capture.Chunk
	at     time.Duration // of the chunk that was played last
	read   bool
}

func recording(path string, pauses bool) (Place, error) {
	if !filepath.IsAbs(path) {
		return nil, fmt.Errorf("port %q: write an absolute path after %s", captureScheme+path, captureScheme)
	}
	return &recorded{path: path, pauses: pauses}, nil
}

// Open goes on after the last unplugging. When the capture is over it waits until ctx ends.
func (r *recorded) Open(ctx context.Context) (Port, error) {
	if !r.read {
		f, err := os.Open(r.path)
		if err != nil {
			return nil, fmt.Errorf("open the capture: %w", err)
		}
		c, err := capture.Read(f)
		if err := errors.Join(err, f.Close()); err != nil {
			return nil, fmt.Errorf("read the capture %s: %w", r.path, err)
		}
		r.chunks, r.read = c.Chunks, true
	}
	if len(r.chunks) == 0 {
		<-ctx.Done()
		return nil, fmt.Errorf("the capture %s is over: %w", r.path, ctx.Err())
	}
	return &tape{from: r, closed: make(chan struct{})}, nil
}

// Close forgets nothing: a recording has no other side.
func (r *recorded) Close() error { return nil }

// next is the chunk to be played next, and how long its pause is.
func (r *recorded) next() (c capture.Chunk, pause time.Duration) {
	c = r.chunks[0]
	if r.pauses {
		pause = min(c.At-r.at, LongestPause)
	}
	r.chunks, r.at = r.chunks[1:], c.At
	return c, pause
}

// tape is a recording from one plugging in to the next unplugging.
type tape struct {
	from   *recorded
	mu     sync.Mutex // of Read
	rest   []byte
	gone   bool
	once   sync.Once
	closed chan struct{}
}

func (t *tape) Read(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.over() {
		return 0, ErrClosed
	}
	for len(t.rest) == 0 {
		if t.gone || len(t.from.chunks) == 0 {
			t.gone = true
			return 0, ErrUnplugged
		}
		c, pause := t.from.next()
		t.rest, t.gone = c.Bytes, c.Gone
		if pause > 0 && !t.rests(pause) {
			return 0, ErrClosed
		}
	}
	n := copy(p, t.rest)
	t.rest = t.rest[n:]
	return n, nil
}

// rests waits; false: the port was closed meanwhile.
func (t *tape) rests(pause time.Duration) bool {
	timer := time.NewTimer(pause)
	defer timer.Stop()
	select {
	case <-timer.C:
		return true
	case <-t.closed:
		return false
	}
}

func (t *tape) over() bool {
	select {
	case <-t.closed:
		return true
	default:
		return false
	}
}

// Write takes an acknowledgement that nobody waits for.
func (t *tape) Write(p []byte) (int, error) {
	if t.over() {
		return 0, ErrClosed
	}
	return len(p), nil
}

func (t *tape) Close() error {
	t.once.Do(func() { close(t.closed) })
	return nil
}
