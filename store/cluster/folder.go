package cluster

import (
	"errors"
	"fmt"
	"os"
	"os/user"

	"runtime"
	"strconv"
)

// folder is the data folder of a cluster, held open.
//
// On Linux the server and we ourselves reach it through /proc/self/fd: so its parents may be closed to the user that
// the server runs as, and a socket's path never comes near the 107 bytes that an address holds.
type folder struct {
	path string
	file *os.File
}

func openFolder(path string) (*folder, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("open the folder of PostgreSQL: %w", err)
	}
	return &folder{path, f}, nil
}

// childName is how a child sees the folder when it gets it as its first extra file.
func (f *folder) childName() string {
	if runtime.GOOS == "linux" {
		return "/proc/self/fd/3"
	}
	return f.path
}

// ourName is how this process sees it; good for as long as the folder is open.
func (f *folder) ourName() string {
	if runtime.GOOS == "linux" {
		return "/proc/self/fd/" + strconv.Itoa(int(f.file.Fd()))
	}
	return f.path
}

// owner is the user that the server runs as.
type owner struct{ uid, gid int }

// serverUser is another user where we are root, else ourselves.
func serverUser() (o owner, other bool, err error) {
	if os.Geteuid() != 0 {
		return owner{os.Geteuid(), os.Getegid()}, false, nil
	}
	for _, name := range []string{"postgres", "nobody"} {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, errU := strconv.Atoi(u.Uid)
		gid, errG := strconv.Atoi(u.Gid)
		if err := errors.Join(errU, errG); err != nil {
			return owner{}, false, fmt.Errorf("look up user %s: %w", name, err)
		}
		return owner{uid, gid}, true, nil
	}
	return owner{}, false, errors.New("PostgreSQL refuses to run as root and there is no user postgres or nobody: create one, or run as an ordinary user")
}

// give makes a folder of the owner's, closed to everybody else.
func (o owner) give(path string) error {
	if err := os.Chown(path, o.uid, o.gid); err != nil {
		return fmt.Errorf("give the folder to the server's user: %w", err)
	}
	return os.Chmod(path, 0o700)
}
