//go:build unix

package journal

import (
	"os"
	"syscall"
)

func unlock(f *os.File) error { return syscall.Flock(int(f.Fd()), syscall.LOCK_UN) }
