package modbus

import (
	"fmt"
	"net"
	"net/netip"
	"os"
	"strconv"

	"golang.org/x/sys/unix"
)

// ours reports whether the other end of a connection over 127.0.0.1 is a socket of this process.
func ours(conn *net.TCPConn) (bool, error) {
	far := conn.RemoteAddr().(*net.TCPAddr).AddrPort()
	open, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		return false, fmt.Errorf("list our own sockets: %w", err)
	}
	for _, e := range open {
		fd, err := strconv.Atoi(e.Name())
		if err != nil {
			continue
		}
		local, err := unix.Getsockname(fd) // fails for what is no socket, or was closed meanwhile
		if err != nil {
			continue
		}
		if in, ok := local.(*unix.SockaddrInet4); ok && netip.AddrPortFrom(netip.AddrFrom4(in.Addr), uint16(in.Port)) == far {
			return true, nil
		}
	}
	return false, nil
}
