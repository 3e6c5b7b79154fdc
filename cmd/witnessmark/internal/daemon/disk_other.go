//go:build !linux

package daemon

import "errors"

// Space is known on Linux only.
func Space(string) (free, size uint64, err error) {
	return 0, 0, errors.New("how much is free on the disk is looked up on Linux only")
}
