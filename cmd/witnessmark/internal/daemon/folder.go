package daemon

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// Folder is the data folder of one shop.
type Folder string

// Journal is the file of the journal.
func (f Folder) Journal() string { return f.in("journal.db") }

// Evidence is the folder of what came from the wrenches, whatever became of it.
func (f Folder) Evidence() string { return f.in("evidence") }

// Postgres is the folder of the private database.
func (f Folder) Postgres() string { return f.in("postgres") }

// Key is the file of the signing key; its public half lies beside it.
func (f Folder) Key() string { return filepath.Join(string(f), "keys", "signing") }

// Outside is the copy of the newest signed checkpoint that is kept outside the database.
func (f Folder) Outside() string { return f.in("checkpoint") }

// Socket is the control socket.
func (f Folder) Socket() string { return f.in("control.sock") }

func (f Folder) in(name string) string { return filepath.Join(string(f), name) }

// open makes the folder if it is missing and locks it for this process. The lock lies on an open file, so it ends with
// the process however that ends, and the file that stays behind means nothing.
func (f Folder) open() (*os.File, error) {
	if err := os.MkdirAll(string(f), 0o700); err != nil {
		return nil, fmt.Errorf("make data folder: %w", err)
	}
	lock, err := os.OpenFile(f.in("lock"), os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, fmt.Errorf("open lock of data folder: %w", err)
	}
	taken, err := lockFile(lock)
	if taken {
		err = fmt.Errorf("another daemon works in %s: stop it first, or give this one a folder of its own with --data", f)
	}
	if err != nil {
		return nil, errors.Join(err, lock.Close())
	}
	return lock, nil
}
