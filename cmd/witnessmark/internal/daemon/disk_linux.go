package daemon

import (
	"fmt"

	"golang.org/x/sys/unix"
)

// Space is the bytes that are free for this user on the disk of a folder, and the bytes of that disk.
func Space(folder string) (free, size uint64, err error) {
	var st unix.Statfs_t
	if err := unix.Statfs(folder, &st); err != nil {
		return 0, 0, fmt.Errorf("look how much is free in %s: %w", folder, err)
	}
	return st.Bavail * uint64(st.Bsize), st.Blocks * uint64(st.Bsize), nil
}
