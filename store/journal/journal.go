// Package journal is the durable list of everything that happens in a shop: readings, refused frames and people's
// actions, numbered in one order. It is a bbolt file beside the daemon and needs no database server.
//
// A value is the CRC-32C of the rest (4 bytes, big endian), the time in microseconds since 1970 UTC (8 bytes, big
// endian), the length of the kind (1 byte), the kind, and the event as JSON. The key is the entry's number in 8 bytes,
// big endian. Beside the entries stand the file's format and, once more, the number of the last entry.
package journal

import (
	"context"
	"errors"
	"fmt"
	"os"
	"sync"
	"sync/atomic"
	"time"

	bolt "go.etcd.io/bbolt"

	"witnessmark/audit"
)

var (
	entries = []byte("entries")
	about   = []byte("about")
	format  = []byte("format")
	newest  = []byte("newest") // the key of the last entry
)

// formatVersion is written into a new file; a file of another version is refused.
const formatVersion = "witnessmark/journal/1"

// mostTail bounds the entries that are held in memory.
const mostTail = 1024

// maxBatch bounds how many waiting entries go into one transaction.
const maxBatch = 1024

// ErrClosed is what Append, Read and Wait return after Close.
var ErrClosed = errors.New("the journal is closed")

// Journal is an open journal. Its methods may be called from any goroutine; one goroutine of its own writes.
type Journal struct {
	path    string
	db      *bolt.DB
	file    *os.File // the one that db holds
	clock   func() time.Time
	in      chan *waiting
	quit    chan struct{}
	ended   chan struct{}
	once    sync.Once
	cutBack string                    // see CutBack
	began   atomic.Pointer[time.Time] // of what the writer asks of the disk, by the process's own clock; nil: nothing

	// Of the writer.
	used, stocked int64 // bytes of the file that were written, and up to which the disk is held in hand

	mu     sync.Mutex
	last   uint64
	tail   []audit.Entry // the newest ones that came since the file was opened: who follows closely needs not read them again
	grown  chan struct{} // closed and replaced whenever last grows
	failed chan struct{}
	err    error     // why nothing can be written any more
	short  *Shortage // nil: there is room
}

// Open opens the journal file, or creates it with mode 0600. clock stamps the entries.
// It fails at once where another process has the file open, and refuses a file that is no journal, is damaged, or has
// a format of another version.
func Open(path string, clock func() time.Time) (*Journal, error) {
	if err := create(path); err != nil {
		return nil, fmt.Errorf("create journal: %w", err)
	}
	j := &Journal{path: path, clock: clock, in: make(chan *waiting), quit: make(chan struct{}),
		ended: make(chan struct{}), grown: make(chan struct{}), failed: make(chan struct{})}
	if err := j.open(); err != nil {
		return nil, fmt.Errorf("open journal: %w", err)
	}
	j.stock()
	go j.write()
	return j, nil
}

// Last is the number of the newest entry, 0 while there is none.
func (j *Journal) Last() uint64 {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.last
}

// Wait returns when there is an entry after the given number, with the error of ctx when that ends first, or with
// ErrClosed when the journal is closed meanwhile.
func (j *Journal) Wait(ctx context.Context, after uint64) error {
	for {
		j.mu.Lock()
		last, grown := j.last, j.grown
		j.mu.Unlock()
		if last > after {
			return nil
		}
		select {
		case <-grown:
		case <-j.quit:
			return ErrClosed
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// Busy is how long the disk has not answered the writer, 0 while it is asked for nothing.
func (j *Journal) Busy() time.Duration {
	if t := j.began.Load(); t != nil {
		return time.Since(*t)
	}
	return 0
}

// Failed is closed when nothing can be written any more. Everything acknowledged before is on the disk.
func (j *Journal) Failed() <-chan struct{} { return j.failed }

// Err is why nothing can be written any more, nil while the journal is sound.
func (j *Journal) Err() error {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.err
}

// Close ends the writer and closes the file. Appends that are waiting get ErrClosed or are durable.
func (j *Journal) Close() error {
	j.once.Do(func() { close(j.quit) })
	<-j.ended
	if errors.Is(j.Err(), errWrecked) {
		return letGo(j.file)
	}
	if err := j.db.Close(); err != nil {
		return fmt.Errorf("close journal: %w", err)
	}
	return nil
}
