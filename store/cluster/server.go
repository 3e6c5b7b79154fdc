package cluster

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"time"
)

const (
	quitGrace = 10 * time.Second // PostgreSQL itself ends its children by force after five
	waitDelay = 5 * time.Second  // for a child that outlives the server with its log open
)

// server is a running postgres that is our child.
type server struct {
	cmd      *exec.Cmd
	log      *log
	settings []string
	done     chan error    // gets the reason once
	ended    chan struct{} // closed with it
}

func startServer(bin Binaries, f *folder, settings []string) (*server, error) {
	o, other, err := serverUser()
	if err != nil {
		return nil, err
	}
	log, err := openLog(f.path + ".log")
	if err != nil {
		return nil, err
	}
	args := []string{"-D", f.childName(), "-k", f.childName(), "-p", port, "-c", "listen_addresses=", "-c", "unix_socket_permissions=0700"}
	for _, s := range settings {
		args = append(args, "-c", s)
	}
	s := &server{log: log, settings: settings, done: make(chan error, 1), ended: make(chan struct{})}
	s.cmd = exec.Command(bin.path("postgres"), args...)
	s.cmd.Dir = "/"
	s.cmd.Env = []string{"LC_ALL=C", "TZ=UTC"}
	s.cmd.Stdout, s.cmd.Stderr = log, log
	s.cmd.WaitDelay = waitDelay
	s.cmd.ExtraFiles = []*os.File{f.file}
	become(s.cmd, o, other)
	started := make(chan error)
	go s.run(started)
	if err := <-started; err != nil {
		return nil, errors.Join(fmt.Errorf("start PostgreSQL: %w", err), log.Close())
	}
	return s, nil
}

// run starts the server and waits for its end on one thread: the death signal comes when that thread goes.
func (s *server) run(started chan<- error) {
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	err := s.cmd.Start()
	started <- err
	if err != nil {
		return
	}
	err = s.cmd.Wait()
	if errors.Is(err, exec.ErrWaitDelay) {
		err = nil // the server ended well, a child of it is still holding the log
	}
	if err == nil {
		err = errors.New("PostgreSQL was shut down")
	} else {
		err = fmt.Errorf("PostgreSQL ended (%w), its log is %s", err, s.log.path)
	}
	s.done <- errors.Join(err, s.log.Close())
	close(s.ended)
}

// stop asks for a fast shutdown, and when ctx ends first for an immediate one, which the next start recovers.
func (s *server) stop(ctx context.Context) error {
	s.signal(syscall.SIGINT)
	select {
	case <-s.ended:
		return nil
	case <-ctx.Done():
	}
	s.signal(syscall.SIGQUIT)
	force := time.NewTimer(quitGrace)
	defer force.Stop()
	select {
	case <-s.ended:
	case <-force.C:
		s.signal(syscall.SIGKILL)
		<-s.ended
	}
	return fmt.Errorf("PostgreSQL had to be ended by force, it recovers at its next start: %w", ctx.Err())
}

func (s *server) kill() error {
	s.signal(syscall.SIGQUIT)
	<-s.ended
	return nil
}

// signal is for a server that may have ended already, which is then all the better.
func (s *server) signal(sig os.Signal) { _ = s.cmd.Process.Signal(sig) }

// create makes the cluster in dir where there is none. It is made in a folder beside it and renamed when it is whole:
// a crash before leaves that folder, which the next start throws away; a crash after leaves the cluster.
func create(ctx context.Context, bin Binaries, dir string, sync bool) error {
	if _, err := os.Stat(filepath.Join(dir, "PG_VERSION")); err == nil {
		return nil
	}
	if there, err := os.ReadDir(dir); err == nil && len(there) > 0 {
		return fmt.Errorf("the folder %s is neither empty nor a PostgreSQL cluster: choose another data folder", dir)
	}
	fresh := dir + ".new"
	if err := errors.Join(os.RemoveAll(fresh), os.MkdirAll(fresh, 0o700)); err != nil {
		return fmt.Errorf("make the folder of PostgreSQL: %w", err)
	}
	if err := initialise(ctx, bin, fresh, sync); err != nil {
		return errors.Join(err, os.RemoveAll(fresh))
	}
	// An empty folder may stand in the way; Remove takes no other.
	if err := os.Remove(dir); err != nil && !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("put the new cluster in its place: %w", err)
	}
	if err := os.Rename(fresh, dir); err != nil {
		return fmt.Errorf("put the new cluster in its place: %w", err)
	}
	parent, err := os.Open(filepath.Dir(dir))
	if err != nil {
		return err
	}
	return errors.Join(parent.Sync(), parent.Close())
}

func initialise(ctx context.Context, bin Binaries, dir string, sync bool) error {
	o, other, err := serverUser()
	if err != nil {
		return err
	}
	if err := o.give(dir); err != nil {
		return err
	}
	f, err := openFolder(dir)
	if err != nil {
		return err
	}
	defer f.file.Close()
	runtime.LockOSThread() // the death signal comes when the starting thread goes
	defer runtime.UnlockOSThread()
	args := []string{"-D", f.childName(), "-U", role, "--auth-local=trust", "--auth-host=reject", "-k", "-E", "UTF8", "--locale=C"}
	if !sync {
		args = append(args, "--no-sync")
	}
	cmd := exec.CommandContext(ctx, bin.path("initdb"), args...)
	cmd.Dir, cmd.Env, cmd.ExtraFiles = "/", []string{"LC_ALL=C", "TZ=UTC", "PATH=" + string(bin)}, []*os.File{f.file}
	become(cmd, o, other)
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("make a PostgreSQL cluster in %s: %w: %s", f.path, err, complaint(string(out)))
	}
	return nil
}

// complaint is the lines of a server program's output that say what went wrong; all of it on one line where none does.
func complaint(out string) string {
	var all, said []string
	for line := range strings.Lines(strings.TrimSpace(out)) {
		line = strings.TrimSpace(line)
		all = append(all, line)
		if strings.Contains(line, "FATAL:") || strings.Contains(line, "PANIC:") || strings.Contains(line, "error:") {
			said = append(said, line)
		}
	}
	if len(said) == 0 {
		said = all
	}
	return strings.Join(said, " | ")
}
