//go:build unix

package daemon

import (
	"errors"
	"os"
	"syscall"
)

// LockFile locks an open file for this process; taken: another one has it.
func LockFile(f *os.File) (taken bool, err error) {
	err = syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	return errors.Is(err, syscall.EWOULDBLOCK), err
}
