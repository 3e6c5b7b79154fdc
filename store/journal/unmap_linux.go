package journal

import (
	"errors"

	bolt "go.etcd.io/bbolt"
	bolterrors "go.etcd.io/bbolt/errors"
	"golang.org/x/sys/unix"
)

// GiveBack gives back to the system the pages of the mapped file that were looked at, which count as memory of the process. They
// stay in its cache and come back when they are looked at again. The mapping stands still while a transaction reads.
// Of one that is closed nothing is there.
func (j *Journal) GiveBack() error {
	err := guard(func() error {
		return j.db.View(func(tx *bolt.Tx) error {
			if _, _, errno := unix.Syscall(unix.SYS_MADVISE, j.db.Info().Data, uintptr(tx.Size()), unix.MADV_DONTNEED); errno != 0 {
				return errno
			}
			return nil
		})
	})
	if errors.Is(err, bolterrors.ErrDatabaseNotOpen) {
		return nil
	}
	return err
}
