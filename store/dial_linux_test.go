package store_test

import (
	"errors"
	"net"
	"path/filepath"
	"testing"

	"golang.org/x/sys/unix"

	"witnessmark/store"
)

// The options are those of tcp(7) and socket(7). That the kernel keeps to them is not tried here.
func TestDial_AsksWhetherTheServerIsThere(t *testing.T) {
	listen, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer listen.Close()
	conn, err := store.Dial(t.Context(), "tcp", listen.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	raw, err := conn.(*net.TCPConn).SyscallConn()
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct{ level, option, want int }{
		"it asks":                           {unix.SOL_SOCKET, unix.SO_KEEPALIVE, 1},
		"after seconds of silence":          {unix.IPPROTO_TCP, unix.TCP_KEEPIDLE, 30},
		"then every so many":                {unix.IPPROTO_TCP, unix.TCP_KEEPINTVL, 10},
		"and so often":                      {unix.IPPROTO_TCP, unix.TCP_KEEPCNT, 3},
		"milliseconds for what it has sent": {unix.IPPROTO_TCP, unix.TCP_USER_TIMEOUT, 60_000},
	} {
		var got int
		var asked error
		err := raw.Control(func(fd uintptr) { got, asked = unix.GetsockoptInt(int(fd), c.level, c.option) })
		if err = errors.Join(err, asked); err != nil || got != c.want {
			t.Errorf("%s: got %d, %v, want %d", name, got, err, c.want)
		}
	}
}

// A socket of this computer has no such options, and its other end cannot go without a word.
func TestDial_UnixSocket(t *testing.T) {
	listen, err := net.Listen("unix", filepath.Join(t.TempDir(), "s"))
	if err != nil {
		t.Fatal(err)
	}
	defer listen.Close()
	conn, err := store.Dial(t.Context(), "unix", listen.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	conn.Close()
}
