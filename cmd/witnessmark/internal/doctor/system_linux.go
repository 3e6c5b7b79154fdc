package doctor

import (
	"fmt"
	"os"
	"strings"
	"syscall"

	"golang.org/x/sys/unix"
)

// stat follows links.
func stat(path string) (status, error) {
	info, err := os.Stat(path)
	if err != nil {
		return status{}, err
	}
	s := status{mode: info.Mode()}
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		s.uid, s.gid = st.Uid, st.Gid
	}
	return s, nil
}

func kernel() (string, error) {
	var u unix.Utsname
	if err := unix.Uname(&u); err != nil {
		return "", fmt.Errorf("ask the kernel for its version: %w", err)
	}
	signature, _ := os.ReadFile("/proc/version_signature") // most kernels have none
	return upstream(unix.ByteSliceToString(u.Release[:]), unix.ByteSliceToString(u.Version[:]), string(signature)), nil
}

// upstream is the version that a distributor's kernel was made from, where it calls itself otherwise:
//
//	5.10.0-11-amd64    #1 SMP Debian 5.10.92-1 (2022-01-18)                 what uname says on Debian
//	5.15.0-91-generic  Ubuntu 5.15.0-91.101-generic 5.15.131                /proc/version_signature on Ubuntu
func upstream(release, version, signature string) string {
	_, debian, found := strings.Cut(version, "Debian ")
	if number := strings.Fields(debian); found && len(number) > 0 {
		return number[0]
	}
	if words := strings.Fields(signature); len(words) == 3 {
		return words[2]
	}
	return release
}

func readOnly(path string) (bool, error) {
	var st unix.Statfs_t
	if err := unix.Statfs(path, &st); err != nil {
		return false, fmt.Errorf("look whether the file system of %s takes writes: %w", path, err)
	}
	return st.Flags&unix.ST_RDONLY != 0, nil
}

func fileSystem(path string) (string, error) {
	var st unix.Statfs_t
	if err := unix.Statfs(path, &st); err != nil {
		return "", fmt.Errorf("look on which file system %s lies: %w", path, err)
	}
	if st.Type == unix.EXT4_SUPER_MAGIC {
		return "ext4", nil
	}
	return "", nil
}
