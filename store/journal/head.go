package journal

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/fnv"
	"os"
)

// bbolt writes its two head pages in turn, each after all that it names is on the disk: 16 bytes about the page, then 56
// bytes that end with the number of the transaction, then their FNV-1a sum, in the order of this computer.
const (
	headAt    = 16
	headSum   = headAt + 56
	headMagic = 0xED0CDAED
)

// CutBack is the file into which a damaged head page was put when the journal was opened; empty: both were whole. The
// journal is then what it was before the write that the damaged one belongs to. A crash in the middle of a write leaves
// that, and nobody was acknowledged; a disk that rots may leave it too, and then acknowledged entries are missing: the
// database may know of newer ones.
func (j *Journal) CutBack() string { return j.cutBack }

// setAside keeps a damaged head page before the next write covers it. A crash in between leaves it for the next start.
func (j *Journal) setAside() error {
	for n := range int64(2) {
		page := make([]byte, j.db.Info().PageSize)
		if _, err := j.file.ReadAt(page, n*int64(len(page))); err != nil {
			return err
		}
		if goodHead(page) {
			continue
		}
		j.cutBack = j.path + ".damaged"
		if err := add(j.cutBack, page); err != nil {
			return fmt.Errorf("set a damaged page aside: %w", err)
		}
	}
	return nil
}

func goodHead(page []byte) bool {
	sum := fnv.New64a()
	_, _ = sum.Write(page[headAt:headSum]) // never fails
	return binary.NativeEndian.Uint32(page[headAt:]) == headMagic && binary.NativeEndian.Uint64(page[headSum:]) == sum.Sum64()
}

// add puts bytes at the end of a file, on the disk when it returns.
func add(path string, b []byte) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(b)
	return errors.Join(err, f.Sync(), f.Close())
}
