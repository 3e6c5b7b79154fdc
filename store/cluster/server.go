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
)

// server is a running postgres that is our child.
type server struct {
	cmd      *exec.Cmd
	log      string
	settings []string
	done     chan error    // gets the reason once
	ended    chan struct{} // closed with it
}

// maxLog is the size from which the server's log is set aside at a start; one older log is kept.
const maxLog = 4 << 20

func openLog(f *folder) (*os.File, string, error) {
	path := f.path + ".log"
	if st, err := os.Stat(path); err == nil && st.Size() > maxLog {
		if err := os.Rename(path, path+".1"); err != nil {
			return nil, "", fmt.Errorf("set the old log of PostgreSQL aside: %w", err)
		}
	}
	log, err := os.OpenFile(path, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return nil, "", fmt.Errorf("open the log of PostgreSQL: %w", err)
	}
	return log, path, nil
}

func startServer(bin Binaries, f *folder, settings []string) (*server, error) {
	o, other, err := serverUser()
	if err != nil {
		return nil, err
	}
	log, path, err := openLog(f)
	if err != nil {
		return nil, err
	}
	defer log.Close()
	args := []string{"-D", f.childName(), "-k", f.childName(), "-p", port, "-c", "listen_addresses=", "-c", "unix_socket_permissions=0700"}
	for _, s := range settings {
		args = append(args, "-c", s)
	}
	s := &server{log: path, settings: settings, done: make(chan error, 1), ended: make(chan struct{})}
	s.cmd = exec.Command(bin.path("postgres"), args...)
	s.cmd.Dir = "/"
	s.cmd.Env = []string{"LC_ALL=C", "TZ=UTC"}
	s.cmd.Stdout, s.cmd.Stderr = log, log
	s.cmd.ExtraFiles = []*os.File{f.file}
	become(s.cmd, o, other)
	started := make(chan error)
	go s.run(started)
	if err := <-started; err != nil {
		return nil, fmt.Errorf("start PostgreSQL: %w", err)
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
	if err == nil {
		err = errors.New("PostgreSQL was shut down")
	} else {
		err = fmt.Errorf("PostgreSQL ended (%w), its log is %s", err, s.log)
	}
	s.done <- err
	close(s.ended)
}

func (s *server) stop(ctx context.Context) error {
	for _, sig := range []syscall.Signal{syscall.SIGINT, syscall.SIGQUIT, syscall.SIGKILL} { // fast, immediate, by force
		if err := s.cmd.Process.Signal(sig); errors.Is(err, os.ErrProcessDone) {
			return nil
		}
		if sig == syscall.SIGKILL {
			break
		}
		select {
		case <-s.ended:
			return nil
		case <-ctx.Done():
		}
	}
	<-s.ended
	return fmt.Errorf("PostgreSQL had to be ended by force, it recovers at its next start: %w", ctx.Err())
}

func (s *server) kill() error {
	if err := s.cmd.Process.Signal(syscall.SIGQUIT); err != nil {
		return err
	}
	<-s.ended
	return nil
}

func lastLines(path string) string {
	text, err := os.ReadFile(path)
	if err != nil {
		return err.Error()
	}
	lines := strings.Split(strings.TrimSpace(string(text)), "\n")
	return strings.Join(lines[max(0, len(lines)-3):], " | ")
}

// create makes the cluster in dir where there is none. It is made in a folder beside it and renamed when it is whole:
// a crash before leaves that folder, which the next start throws away; a crash after leaves the cluster.
func create(ctx context.Context, bin Binaries, dir string) error {
	if _, err := os.Stat(filepath.Join(dir, "PG_VERSION")); err == nil {
		return nil
	}
	fresh := dir + ".new"
	if err := errors.Join(os.RemoveAll(fresh), os.MkdirAll(fresh, 0o700)); err != nil {
		return fmt.Errorf("make the folder of PostgreSQL: %w", err)
	}
	if err := initialise(ctx, bin, fresh); err != nil {
		return errors.Join(err, os.RemoveAll(fresh))
	}
	// An empty folder may stand in the way; one with something in it is not ours to remove, and Rename says so.
	if err := os.Remove(dir); err != nil && !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("the folder %s is neither empty nor a PostgreSQL cluster: choose another data folder: %w", dir, err)
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

func initialise(ctx context.Context, bin Binaries, dir string) error {
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
	cmd := exec.CommandContext(ctx, bin.path("initdb"), "-D", f.childName(), "-U", role, "-A", "trust", "-k", "-E", "UTF8", "--locale=C")
	cmd.Dir, cmd.Env, cmd.ExtraFiles = "/", []string{"LC_ALL=C", "TZ=UTC", "PATH=" + string(bin)}, []*os.File{f.file}
	become(cmd, o, other)
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("make a PostgreSQL cluster: %w: %s", err, strings.TrimSpace(string(out)))
	}
	return nil
}
