package cluster

import (
	"errors"
	"fmt"
	"os"
	"os/user"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
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

// close may be called again.
func (f *folder) close() error {
	if err := f.file.Close(); !errors.Is(err, os.ErrClosed) {
		return err
	}
	return nil
}

// lockFile reads what a server wrote about itself into the folder: its process in the first line, in the eighth whether
// it takes connections (postmaster.pid, since PostgreSQL 10). No process is 0; a stale file is for PostgreSQL to judge.
func (f *folder) lockFile() (pid int, ready bool) {
	text, err := os.ReadFile(filepath.Join(f.path, "postmaster.pid"))
	if err != nil {
		return 0, false
	}
	lines := strings.Split(string(text), "\n")
	if pid, err = strconv.Atoi(lines[0]); err != nil || pid <= 0 {
		return 0, false
	}
	return pid, len(lines) >= 8 && strings.TrimSpace(lines[7]) == "ready"
}

// running is the process that runs in this very folder, 0 for none. After a power cut the number in the lock file may
// belong to any other process; a server's working folder is its data folder. Where that cannot be asked, PostgreSQL
// itself refuses a second server.
func (f *folder) running() int {
	pid, _ := f.lockFile()
	if pid == 0 {
		return 0
	}
	there, err := os.Stat(fmt.Sprintf("/proc/%d/cwd", pid))
	if errors.Is(err, os.ErrPermission) { // root without the right to look at other users' processes
		if name, err := os.ReadFile(fmt.Sprintf("/proc/%d/comm", pid)); err == nil && strings.HasPrefix(string(name), "postgres") {
			return pid
		}
	}
	if err != nil {
		return 0
	}
	if here, err := f.file.Stat(); err != nil || !os.SameFile(here, there) {
		return 0
	}
	return pid
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

// ours refuses a cluster of a user other than the one that we would run its server as: that one cannot read it, and would leave
// files behind that the daemon of the other cannot write.
func (f *folder) ours() error {
	o, _, err := serverUser()
	if err != nil {
		return err
	}
	uid, known := ownerOf(f.file)
	if !known || uid == o.uid {
		return nil
	}
	name := strconv.Itoa(uid)
	if u, err := user.LookupId(name); err == nil {
		name = u.Username
	}
	return fmt.Errorf("the database in %s belongs to the user %[2]s: run this as that user, for example as root with `runuser -u %[2]s -- witnessmark …`", f.path, name)
}

// give makes a folder of the owner's, closed to everybody else.
func (o owner) give(path string) error {
	if err := os.Chown(path, o.uid, o.gid); err != nil {
		return fmt.Errorf("give the folder to the server's user: %w", err)
	}
	return os.Chmod(path, 0o700)
}
