package journal

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"strings"
	"syscall"
	"time"

	bolt "go.etcd.io/bbolt"
)

// Reserve is the bytes of disk that the journal holds in hand beyond what it has used, as blocks of its own file that
// nothing has been written to: room for some thousands of readings when the disk is full of other things.
//
// A crash leaves them with the file or without them; the next start asks for what is missing.
const Reserve = 2 << 20

// reserveStep is how much more than Reserve is asked for at once, so that not every commit asks.
const reserveStep = 512 << 10

// stockEvery is how often a journal that is short of room tries to get its reserve back.
const stockEvery = time.Second

// ErrNoRoom is in the error of an Append that the system refused to write. The event is certainly not in the journal, and
// an Append may be tried again: it works as soon as there is room.
var ErrNoRoom = errors.New("the disk takes nothing more")

// Shortage is a disk without room for the reserve.
type Shortage struct {
	Since    time.Time // by the process's own clock
	Refusing bool      // the reserve is used up too: the last Append was refused
	Why      error     // what the system said, a syscall.Errno
}

// Short says how the disk is short of room, nil while it is not.
func (j *Journal) Short() *Shortage {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.short == nil {
		return nil
	}
	s := *j.short
	return &s
}

// stock asks for the reserve, after something was written. Of the writer, or before there is one.
func (j *Journal) stock() {
	err := j.timed(func() error {
		err := j.db.View(func(tx *bolt.Tx) error { j.used = tx.Size(); return nil })
		if err != nil || j.stocked >= j.used+Reserve {
			return err
		}
		return allocate(j.file, j.used, Reserve+reserveStep)
	})
	switch {
	case errors.Is(err, errors.ErrUnsupported):
		j.stocked = math.MaxInt64 // this file system holds nothing in hand
		err = nil
	case err == nil && j.stocked < j.used+Reserve:
		j.stocked = j.used + Reserve + reserveStep
	}
	j.note(err, false)
}

// note books why there is no room, nil: there is.
func (j *Journal) note(why error, refusing bool) {
	j.mu.Lock()
	defer j.mu.Unlock()
	switch {
	case why == nil:
		j.short = nil
	case j.short == nil:
		j.short = &Shortage{time.Now(), refusing, why}
	default:
		j.short.Refusing, j.short.Why = refusing, why
	}
}

// refuse answers a batch that found no room.
func (j *Journal) refuse(why, err error, batch []*waiting) {
	j.note(why, true)
	answer(batch, fmt.Errorf("write journal %s: %w: %w", j.path, ErrNoRoom, err))
}

// noRoom gives the reason in an error with which the system declined to take bytes, nil where it is another: nothing was
// written over, and bbolt has gone back to where it was. That an earlier write cannot be synced is another matter.
func noRoom(err error) error {
	var w *fs.PathError
	write := errors.As(err, &w) && w.Op == "write"
	for _, why := range []syscall.Errno{syscall.ENOSPC, syscall.EDQUOT, syscall.EFBIG, syscall.EROFS} {
		// bbolt hands on the text alone where the file cannot be made longer.
		longer := err != nil && strings.HasPrefix(err.Error(), "file resize error: ") && strings.HasSuffix(err.Error(), why.Error())
		if write && errors.Is(err, why) || longer {
			return why
		}
	}
	return nil
}
