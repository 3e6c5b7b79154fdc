package journal

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// allocate gives blocks of the disk to the bytes of a file from … from+n, and leaves its length as it is.
func allocate(f *os.File, from, n int64) error {
	for {
		err := unix.Fallocate(int(f.Fd()), unix.FALLOC_FL_KEEP_SIZE, from, n)
		if !errors.Is(err, unix.EINTR) {
			return err
		}
	}
}
