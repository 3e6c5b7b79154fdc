//go:build !linux

package modbus

import (
	"errors"
	"net"
)

// ours cannot be known elsewhere.
func ours(*net.TCPConn) (bool, error) {
	return false, errors.New("Modbus is served under Linux only: run the daemon there")
}
