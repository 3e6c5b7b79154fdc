package journal

import (
	"errors"
	"fmt"
	"slices"

	bolt "go.etcd.io/bbolt"
	bolterrors "go.etcd.io/bbolt/errors"

	"witnessmark/audit"
)

// Read gives up to max entries from the number from on, none when from is after the last. An entry that is damaged or
// missing is an error that names it. Only acknowledged entries are read: what a failed write left is not to be trusted.
//
// A head page that rots makes bbolt fall back to the one before it, which is the journal without its last batch, see CutBack.
// Who keeps a position elsewhere must therefore compare it with Last.
func (j *Journal) Read(from uint64, max int) ([]audit.Entry, error) {
	if out, err := j.held(from, max); out != nil || err != nil {
		return out, err
	}
	var out []audit.Entry
	to := min(j.Last(), from+uint64(max)-1) // asked for first: the transaction then sees these at least
	err := guard(func() error {
		return j.db.View(func(tx *bolt.Tx) (err error) {
			out, err = walk(tx.Bucket(entries).Cursor(), from, to)
			return err
		})
	})
	if errors.Is(err, bolterrors.ErrDatabaseNotOpen) {
		return nil, ErrClosed
	}
	if err != nil {
		return nil, fmt.Errorf("read journal %s: %w", j.path, err)
	}
	return out, nil
}

// held gives entries that are still in memory, as they were read back before they were written; nil: the first is not.
func (j *Journal) held(from uint64, max int) ([]audit.Entry, error) {
	select {
	case <-j.quit:
		return nil, ErrClosed
	default:
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	if len(j.tail) == 0 || from < j.tail[0].Seq || from > j.last {
		return nil, nil
	}
	i := int(from - j.tail[0].Seq)
	return slices.Clone(j.tail[i:min(i+max, len(j.tail))]), nil
}

// walk reads the entries from … to, both included.
func walk(c *bolt.Cursor, from, to uint64) ([]audit.Entry, error) {
	var out []audit.Entry
	k, v := c.Seek(keyOf(from))
	for want := from; want <= to; want++ {
		if k == nil {
			return nil, fmt.Errorf("entry %d is missing, the last one should be %d: %s", want, to, anew)
		}
		seq, err := seqOf(k)
		if err != nil {
			return nil, fmt.Errorf("entry %d: %w", want, err)
		}
		if seq != want {
			return nil, fmt.Errorf("entry %d is missing, the next one is %d: %s", want, seq, anew)
		}
		e, err := parse(want, v)
		if err != nil {
			return nil, fmt.Errorf("entry %d: %w", want, err)
		}
		out = append(out, e)
		k, v = c.Next()
	}
	return out, nil
}
