package cluster

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
)

const (
	role     = "witnessmark" // the superuser of a private cluster
	database = "postgres"
	port     = "5432" // part of the socket's name only
)

// Cluster is a private PostgreSQL: one that we started, or one that we found running.
type Cluster struct {
	folder *folder
	server *server // nil: attached, not ours
}

// Start makes the cluster in dir where there is none yet, starts its server and waits until that server answers.
// The server ends with this process, however it ends. ctx bounds the start only.
func Start(ctx context.Context, dir string, settings ...string) (*Cluster, error) {
	bin, err := Find()
	if err != nil {
		return nil, err
	}
	if err := create(ctx, bin, dir); err != nil {
		return nil, err
	}
	f, err := openFolder(dir)
	if err != nil {
		return nil, err
	}
	if err := waitForOld(ctx, f); err != nil {
		return nil, errors.Join(err, f.file.Close())
	}
	s, err := startServer(bin, f, settings)
	if err != nil {
		return nil, errors.Join(err, f.file.Close())
	}
	c := &Cluster{folder: f, server: s}
	if err := c.await(ctx); err != nil {
		return nil, errors.Join(err, c.Stop(context.WithoutCancel(ctx)))
	}
	return c, nil
}

// Attach connects to a server that runs in dir already, without owning it.
func Attach(ctx context.Context, dir string) (*Cluster, error) {
	f, err := openFolder(dir)
	if err != nil {
		return nil, err
	}
	c := &Cluster{folder: f}
	if err := c.ping(ctx); err != nil {
		return nil, errors.Join(fmt.Errorf("no server answers in %s: %w", dir, err), f.file.Close())
	}
	return c, nil
}

// ConnString is how this process connects. It is good until Stop.
func (c *Cluster) ConnString() string { return c.Database(database) }

// Database is ConnString for another database of the cluster.
func (c *Cluster) Database(name string) string {
	return fmt.Sprintf("host=%s port=%s user=%s dbname=%s sslmode=disable", c.folder.ourName(), port, role, name)
}

// Done delivers once why the server ended; it never does for an attached one.
func (c *Cluster) Done() <-chan error {
	if c.server == nil {
		return nil
	}
	return c.server.done
}

// Stop ends our server cleanly, by force where it does not end before ctx, and lets go of the folder.
// A crash in the middle leaves what any crash of PostgreSQL leaves: the next start recovers it.
func (c *Cluster) Stop(ctx context.Context) error {
	var err error
	if c.server != nil {
		err = c.server.stop(ctx)
	}
	return errors.Join(err, c.folder.file.Close())
}

// Kill ends our server at once, as a crash would. For tests of what comes after.
func (c *Cluster) Kill() error { return c.server.kill() }

// Restart waits for the end of a killed server and starts another in its place, under the same ConnString.
func (c *Cluster) Restart(ctx context.Context) error {
	<-c.server.ended
	bin, err := Find()
	if err != nil {
		return err
	}
	s, err := startServer(bin, c.folder, c.server.settings)
	if err != nil {
		return err
	}
	c.server = s
	return c.await(ctx)
}

func (c *Cluster) ping(ctx context.Context) error {
	conn, err := pgx.Connect(ctx, c.ConnString()+" connect_timeout=5")
	if err != nil {
		return err
	}
	return conn.Close(ctx)
}

// await returns when our server answers. Another one cannot: the lock file in the folder lets in only one.
func (c *Cluster) await(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, 60*time.Second)
	defer cancel()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for {
		err := c.ping(ctx)
		if err == nil {
			return nil
		}
		select {
		case <-c.server.ended:
			return fmt.Errorf("PostgreSQL ended while it started, its log %s says why: %s", c.server.log, lastLines(c.server.log))
		case <-ctx.Done():
			return fmt.Errorf("PostgreSQL does not answer: %w", err)
		case <-tick.C:
		}
	}
}

// waitForOld waits for the server of a daemon that was just killed: its death signal has been sent, it is ending.
func waitForOld(ctx context.Context, f *folder) error {
	ctx, cancel := context.WithTimeout(ctx, 15*time.Second)
	defer cancel()
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for {
		pid := runningPID(f)
		if pid == 0 {
			return nil
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("a PostgreSQL server (process %d) still runs in %s: stop the daemon that it belongs to, or end it", pid, f.path)
		case <-tick.C:
		}
	}
}

// runningPID is the process in the lock file while it lives; a stale file is for PostgreSQL itself to judge.
func runningPID(f *folder) int {
	text, err := os.ReadFile(filepath.Join(f.path, "postmaster.pid"))
	if err != nil {
		return 0
	}
	var pid int
	if _, err := fmt.Sscan(string(text), &pid); err != nil || pid <= 0 {
		return 0
	}
	name, err := os.ReadFile(fmt.Sprintf("/proc/%d/comm", pid))
	if err != nil || !strings.HasPrefix(string(name), "postgres") || errors.Is(syscall.Kill(pid, 0), syscall.ESRCH) {
		return 0
	}
	return pid
}
