package control

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"strconv"
)

// maxAddress is how many bytes of path a unix socket address holds (108 with the closing NUL).
const maxAddress = 107

// address is a way to a socket file that fits into a socket address. A deep folder does not fit: it is opened, and
// the address goes through the descriptor, which must stay open for as long as the address is used.
type address struct {
	text   string
	folder *os.File // nil: the path itself fits
}

func addressOf(path string) (address, error) {
	if len(path) <= maxAddress {
		return address{text: path}, nil
	}
	dir, err := os.Open(filepath.Dir(path))
	if err != nil {
		return address{}, err
	}
	return address{"/proc/self/fd/" + strconv.Itoa(int(dir.Fd())) + "/" + filepath.Base(path), dir}, nil
}

func (a address) Close() error {
	if a.folder == nil {
		return nil
	}
	return a.folder.Close()
}

type listener struct {
	net.Listener
	at address
}

// Close removes the socket file too, hence the folder is let go of last.
func (l listener) Close() error { return errors.Join(l.Listener.Close(), l.at.Close()) }

// Listen opens the socket file at path for its owner only. A file left by a daemon that was killed is replaced: the
// caller holds the lock of the folder, so no other daemon can be behind it.
func Listen(path string) (net.Listener, error) {
	if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("replace control socket: %w", err)
	}
	at, err := addressOf(path)
	if err != nil {
		return nil, fmt.Errorf("open folder of control socket: %w", err)
	}
	l, err := net.Listen("unix", at.text)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("listen on control socket %s: %w", path, err), at.Close())
	}
	if err := os.Chmod(path, 0o600); err != nil {
		return nil, errors.Join(fmt.Errorf("close control socket to others: %w", err), l.Close(), at.Close())
	}
	return listener{l, at}, nil
}

func dial(ctx context.Context, path string) (net.Conn, error) {
	at, err := addressOf(path)
	if err != nil {
		return nil, err
	}
	conn, err := (&net.Dialer{}).DialContext(ctx, "unix", at.text)
	if err != nil {
		return nil, errors.Join(err, at.Close())
	}
	// The kernel has resolved the address; the folder is not needed any more.
	return conn, at.Close()
}
