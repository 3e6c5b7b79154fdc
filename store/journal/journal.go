// Package journal is the durable list of everything that happens in a shop: readings, refused frames and people's
// actions, numbered in one order. It is a bbolt file beside the daemon and needs no database server.
//
// A value is the CRC-32C of the rest (4 bytes, big endian), the time in microseconds since 1970 UTC (8 bytes, big
// endian), the length of the kind (1 byte), the kind, and the event as JSON. The key is the entry's number in 8 bytes,
// big endian.
package journal

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"

	bolt "go.etcd.io/bbolt"

	"witnessmark/audit"
)

var (
	entries = []byte("entries")
	about   = []byte("about")
	format  = []byte("format")
)

// formatVersion is written into a new file; a file of another version is refused.
const formatVersion = "witnessmark/journal/1"

// maxBatch bounds how many waiting entries go into one transaction.
const maxBatch = 1024

// ErrClosed is returned by an Append after Close.
var ErrClosed = errors.New("the journal is closed")

// Journal is an open journal. Its methods may be called from any goroutine; one goroutine of its own writes.
type Journal struct {
	path  string
	db    *bolt.DB
	clock func() time.Time
	in    chan *waiting
	quit  chan struct{}
	ended chan struct{}
	once  sync.Once

	mu     sync.Mutex
	last   uint64
	grown  chan struct{} // closed and replaced whenever last grows
	failed chan struct{}
	err    error // why nothing can be written any more
}

// Open opens the journal file, or creates it with mode 0600. clock stamps the entries.
// It fails at once where another process has the file open.
func Open(path string, clock func() time.Time) (*Journal, error) {
	_, err := os.Stat(path)
	fresh := errors.Is(err, os.ErrNotExist)
	db, err := bolt.Open(path, 0o600, &bolt.Options{Timeout: 100 * time.Millisecond})
	if errors.Is(err, bolt.ErrTimeout) {
		return nil, fmt.Errorf("open journal %s: another process has it open: stop the other daemon first", path)
	}
	if err != nil {
		return nil, fmt.Errorf("open journal %s: %w", path, err)
	}
	j := &Journal{path: path, db: db, clock: clock, in: make(chan *waiting), quit: make(chan struct{}),
		ended: make(chan struct{}), grown: make(chan struct{}), failed: make(chan struct{})}
	if err := j.prepare(fresh); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	go j.write()
	return j, nil
}

// prepare makes the buckets of a new file and finds the last entry.
func (j *Journal) prepare(fresh bool) error {
	err := j.db.Update(func(tx *bolt.Tx) error {
		a, err := tx.CreateBucketIfNotExists(about)
		if err != nil {
			return err
		}
		e, err := tx.CreateBucketIfNotExists(entries)
		if err != nil {
			return err
		}
		if v := a.Get(format); v != nil && string(v) != formatVersion {
			return fmt.Errorf("%s has the format %q, this version reads %q: use the version that wrote it", j.path, v, formatVersion)
		}
		if k, _ := e.Cursor().Last(); k != nil {
			j.last = seqOf(k)
		}
		return a.Put(format, []byte(formatVersion))
	})
	if err != nil {
		return fmt.Errorf("prepare journal: %w", err)
	}
	if !fresh {
		return nil
	}
	// A crash before the folder is synced leaves no journal at all, or an empty one; nothing was acknowledged yet.
	return syncFolder(filepath.Dir(j.path))
}

func syncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("sync folder of the journal: %w", err)
	}
	if err := errors.Join(d.Sync(), d.Close()); err != nil {
		return fmt.Errorf("sync folder of the journal: %w", err)
	}
	return nil
}

// Last is the number of the newest entry, 0 while there is none.
func (j *Journal) Last() uint64 {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.last
}

// Wait returns when there is an entry after the given number, or with the error of ctx.
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
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// Failed is closed when nothing can be written any more. Everything acknowledged before is on the disk.
func (j *Journal) Failed() <-chan struct{} { return j.failed }

// Close ends the writer and closes the file. Appends that are waiting get ErrClosed or are durable.
func (j *Journal) Close() error {
	j.once.Do(func() { close(j.quit) })
	<-j.ended
	if err := j.db.Close(); err != nil {
		return fmt.Errorf("close journal: %w", err)
	}
	return nil
}

// Read gives up to max entries from the number from on. An entry that is damaged or missing is an error that names it.
func (j *Journal) Read(from uint64, max int) ([]audit.Entry, error) {
	var out []audit.Entry
	err := j.db.View(func(tx *bolt.Tx) error {
		want := from
		c := tx.Bucket(entries).Cursor()
		for k, v := c.Seek(keyOf(from)); k != nil && len(out) < max; k, v = c.Next() {
			if seqOf(k) != want {
				return fmt.Errorf("entry %d of %s is missing, the next one is %d: restore the file from a backup", want, j.path, seqOf(k))
			}
			e, err := parse(want, v)
			if err != nil {
				return fmt.Errorf("entry %d of %s: %w", want, j.path, err)
			}
			out = append(out, e)
			want++
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read journal: %w", err)
	}
	return out, nil
}
