package daemon

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"witnessmark/cmd/witnessmark/internal/control"
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

// Clock is what a start holds the clock of the computer against. It belongs to this computer and into no backup.
func (f Folder) Clock() string { return f.in("clock") }

// Outside is the copy of the newest signed checkpoint that is kept outside the database.
func (f Folder) Outside() string { return f.in("checkpoint") }

// Snapshot is the file that saves a start from working out the whole journal, and Shelf where the builds lie that it has put
// away. Both are made of the journal, belong into no backup and may be removed while the daemon stands.
func (f Folder) Snapshot() string { return f.in("snapshot") }

// Shelf is the other file of Snapshot.
func (f Folder) Shelf() string { return f.in("shelf") }

// Lost is the checkpoint that proved so many leaves of which a part was accepted to be lost.
func (f Folder) Lost(size int64) string { return f.in(fmt.Sprintf("checkpoint.lost-%d", size)) }

// Socket is the control socket.
func (f Folder) Socket() string { return f.in("control.sock") }

// Kept are the files that belong to the record and are neither journal, database nor the checkpoint outside: the keys,
// checkpoints of what was lost, the code by which the first administrator comes in, and what is mixed into PINs.
func (f Folder) Kept() ([]string, error) {
	keys, err := filepath.Glob(filepath.Join(filepath.Dir(f.Key()), filepath.Base(f.Key())+"*"))
	if err != nil {
		return nil, fmt.Errorf("list the keys: %w", err)
	}
	keys = slices.DeleteFunc(keys, func(name string) bool { return strings.HasSuffix(name, ".new") }) // half written
	lost, err := filepath.Glob(f.in("checkpoint.lost-*"))
	if err != nil {
		return nil, fmt.Errorf("list the checkpoints of what was lost: %w", err)
	}
	return append(slices.Concat(keys, lost), f.in("set-up-code"), f.in("pin-pepper")), nil
}

// Unfinished is the file that lies in a folder for as long as a restore works in it.
func (f Folder) Unfinished() string { return f.in("unfinished-restore") }

// Whole refuses a folder in which a restore was cut off.
func (f Folder) Whole() error {
	if _, err := os.Lstat(f.Unfinished()); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return fmt.Errorf("a restore into %s was not finished: remove the folder and restore again into an empty one", f)
}

func (f Folder) in(name string) string { return filepath.Join(string(f), name) }

// Known refuses a folder in which no shop has kept records yet.
func (f Folder) Known() error {
	if _, err := os.Stat(f.Key()); errors.Is(err, fs.ErrNotExist) {
		return control.Unknown(fmt.Sprintf("no shop has kept records in %s: name the data folder with --data, or put its keys back from a backup", f))
	}
	return nil
}

// ErrTaken is a data folder that another daemon has locked.
var ErrTaken = errors.New("another daemon works")

// Lock makes the folder if it is missing and locks it for this process. The lock lies on an open file, so it ends with
// the process however that ends, and the file that stays behind means nothing.
func (f Folder) Lock() (*os.File, error) {
	err := os.MkdirAll(string(f), 0o700)
	var lock *os.File
	if err == nil {
		lock, err = os.OpenFile(f.in("lock"), os.O_CREATE|os.O_RDWR, 0o600)
	}
	if err != nil {
		return nil, fmt.Errorf("the data folder %s cannot be written to: see to its disk and its rights (witnessmark doctor looks at them), or name another one with --data: %w", f, err)
	}
	taken, err := LockFile(lock)
	if taken {
		err = fmt.Errorf("%w in %s: stop it first, or give this one a folder of its own with --data", ErrTaken, f)
	}
	if err != nil {
		return nil, errors.Join(err, lock.Close())
	}
	return lock, nil
}
