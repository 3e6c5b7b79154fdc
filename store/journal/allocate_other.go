//go:build !linux

package journal

import (
	"errors"
	"os"
)

// allocate is for Linux only.
func allocate(*os.File, int64, int64) error { return errors.ErrUnsupported }
