package port

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"

	"witnessmark/device/capture"
)

const captureScheme = "capture://"

// recorded plays a capture file, for trying a profile or telling a story again: its bytes come as fast as they are
// taken, in the pieces they came in, and the port goes away where it went away then. It plays from the beginning each
// time a Place is made.
type recorded struct {
	path   string
	chunks []capture.Chunk
	read   bool
}

func recording(path string) (Place, error) {
	if !filepath.IsAbs(path) {
		return nil, fmt.Errorf("port %q: write an absolute path after %s", captureScheme+path, captureScheme)
	}
	return &recorded{path: path}, nil
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
	return &tape{from: r}, nil
}

// Close forgets nothing: a recording has no other side.
func (r *recorded) Close() error { return nil }

// tape is a recording from one plugging in to the next unplugging.
type tape struct {
	from   *recorded
	mu     sync.Mutex
	rest   []byte
	gone   bool
	closed bool
}

func (t *tape) Read(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for len(t.rest) == 0 {
		switch {
		case t.closed:
			return 0, ErrClosed
		case t.gone || len(t.from.chunks) == 0:
			t.gone = true
			return 0, ErrUnplugged
		}
		next := t.from.chunks[0]
		t.from.chunks = t.from.chunks[1:]
		t.rest, t.gone = next.Bytes, next.Gone
	}
	n := copy(p, t.rest)
	t.rest = t.rest[n:]
	return n, nil
}

// Write takes an acknowledgement that nobody waits for.
func (t *tape) Write(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.closed {
		return 0, ErrClosed
	}
	return len(p), nil
}

func (t *tape) Close() error {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.closed, t.rest = true, nil
	return nil
}
