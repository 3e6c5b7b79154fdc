// Package evidence keeps what came from a port, whatever became of it: the bytes themselves as capture files, for the
// day when somebody asks what a wrench really said, and the refused frames as far as they are to be recorded singly.
//
//	evidence/TW-01/00000041-2026-01-17T09-41-07Z.capture   the number gives the order, also where the clock was set back
//	evidence/TW-01/00000042-2026-01-18T09-41-12Z.capture   being written
//
// A file ends when it is full, after a day, when the clock was set back, and with the daemon: a Tape never writes into
// a file that was there before, because a crash may have torn its last line. The oldest are removed when all together
// would outgrow their limit.
//
// Bytes wait in memory for the disk, never longer than it takes to write those before them: what a kill of the daemon
// loses is what came in the last moments. Nothing is synced, since readings have a journal: a power cut loses what the
// system had not yet written back, half a minute's worth with the usual settings, and may leave a torn line or a
// stretch of zeros (capture.ReadTorn reads up to that). What could not be kept, because the disk was full for longer
// than the memory lasts or gave no answer, is counted, and stands as a remark in the place where it is missing:
//
//	# left out: 70144 bytes, and 1 time that the port went away: the disk was full or too slow
package evidence

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"
)

// Limits bounds what is kept of one wrench. A zero field stands for its default.
type Limits struct {
	File    int64 // bytes of text in a file, after which another begins; 1 MiB, which is some 350 kB of long chunks
	Total   int64 // of all files together, each in whole blocks of 4 KiB; 16 MiB, and at least two files
	Waiting int   // bytes in memory for which the disk has no room yet, and as many once more in the writer's hands; 256 KiB
}

// Options is how a Tape is to be kept.
type Options struct {
	Profile string // name and version of the profile that the wrench speaks by, for the header; empty: unknown
	Limits  Limits
	// Trouble is told once when the disk takes no more, with a sentence that says what to do, and once with nil when it
	// takes what comes again. Nothing is written while it runs. nil: nobody listens.
	Trouble func(error)
}

// ErrStuck ends a Close whose disk gives no answer.
var ErrStuck = errors.New("the disk gives no answer")

const (
	grace     = 5 * time.Second // for Close
	longest   = 4096            // bytes of a chunk; more than that is several
	weight    = 64              // bytes that a chunk takes in memory beside its own
	folderFor = 0o700
	fileFor   = 0o600
)

// Tape keeps the bytes of one wrench. Its methods may be called from several goroutines.
type Tape struct {
	wrench  string
	limits  Limits
	wake    chan struct{} // holds one: something waits
	close   sync.Once
	closing chan struct{} // closed by close
	written chan struct{} // closed by the writer when it has ended
	failed  error         // of the writer until written is closed

	mu      sync.Mutex // guards what follows
	waiting batch
	leftOut int64
}

// Open makes the folder of the wrench in folder, which must be a name that a file can have. The error is that of the
// disk. Files are written only when something comes.
func Open(folder, wrench string, o Options) (*Tape, error) {
	if !filepath.IsLocal(wrench) || filepath.Base(wrench) != wrench || wrench == "." {
		return nil, fmt.Errorf("keep raw evidence of wrench %q: expected an id that can name a folder", wrench)
	}
	own := filepath.Join(folder, wrench)
	if err := os.MkdirAll(own, folderFor); err != nil {
		return nil, fmt.Errorf("make the folder for raw evidence: %w", err)
	}
	l := &o.Limits
	orDefault(&l.File, 1<<20)
	orDefault(&l.Total, 16<<20)
	orDefault(&l.Waiting, 256<<10)
	t := &Tape{wrench: wrench, limits: *l, wake: make(chan struct{}, 1), closing: make(chan struct{}), written: make(chan struct{})}
	w := writer{tape: t, trouble: o.Trouble, reel: reel{folder: own, wrench: wrench, profile: o.Profile, limits: *l}}
	go w.run()
	return t, nil
}

func orDefault[N int | int64](n *N, otherwise N) {
	if *n == 0 {
		*n = otherwise
	}
}

// Took keeps bytes that came at a time. It copies them and never waits for the disk. What comes after Close is lost.
func (t *Tape) Took(at time.Time, b []byte) {
	for part := range slices.Chunk(b, longest) {
		t.put(piece{at: at, bytes: len(part)}, part)
	}
}

// Gone keeps that the port went away.
func (t *Tape) Gone(at time.Time) { t.put(piece{at: at, gone: true}, nil) }

// LeftOut is how many bytes could not be kept since Open.
func (t *Tape) LeftOut() int64 {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.leftOut
}

// Close writes what waits and ends the Tape. Its error says how much could not be written; a disk that gives no answer
// is not waited for, and the goroutine that writes stays behind.
func (t *Tape) Close() error {
	t.close.Do(func() { close(t.closing) })
	timer := time.NewTimer(grace)
	defer timer.Stop()
	select {
	case <-t.written:
		return t.failed
	case <-timer.C:
		return fmt.Errorf("keep raw evidence of wrench %s: %w", t.wrench, ErrStuck)
	}
}

func (t *Tape) put(p piece, b []byte) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.waiting.size()+len(b)+weight > t.limits.Waiting {
		t.waiting.leaveOut(p)
		t.leftOut += int64(len(b))
	} else {
		t.waiting.add(p, b)
	}
	select {
	case t.wake <- struct{}{}:
	default:
	}
}

// take gives the writer what waits, and puts an empty batch in its place.
func (t *Tape) take(empty batch) batch {
	t.mu.Lock()
	defer t.mu.Unlock()
	full := t.waiting
	t.waiting = empty
	return full
}

func (t *Tape) isClosing() bool {
	select {
	case <-t.closing:
		return true
	default:
		return false
	}
}

func (t *Tape) leave(bytes int) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.leftOut += int64(bytes)
}
