//go:build !linux

package port

import (
	"context"
	"fmt"
	"net"
	"time"
)

// OpenSerial opens serial ports under Linux only.
func OpenSerial(_ context.Context, path string, _ Mode) (Port, error) {
	return nil, fmt.Errorf("port %q: serial ports are served under Linux only: run the daemon there, or use %shost:port", path, dialScheme)
}

// limitSilence leaves it to keep-alive.
func limitSilence(*net.TCPConn, time.Duration) error { return nil }

// Holders are known under Linux only.
func Holders(string) []Holder { return nil }
