package store

import (
	"strings"
	"syscall"

	"golang.org/x/sys/unix"
)

// giveUp sets TCP_USER_TIMEOUT (tcp(7)); without it the kernel repeats what it sent for about a quarter of an hour.
func giveUp(network, _ string, c syscall.RawConn) (err error) {
	if !strings.HasPrefix(network, "tcp") {
		return nil
	}
	failed := c.Control(func(fd uintptr) {
		err = unix.SetsockoptInt(int(fd), unix.IPPROTO_TCP, unix.TCP_USER_TIMEOUT, int(gone.Milliseconds()))
	})
	if failed != nil {
		return failed
	}
	return err
}
