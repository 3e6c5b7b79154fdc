package cluster

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
)

const (
	role     = "witnessmark" // the superuser of a private cluster
	database = "postgres"
	port     = "5432" // part of the socket's name only
)

// stopGrace bounds how long a server that did not come up may take to go.
const stopGrace = 30 * time.Second

// answerWithin is how soon a server must answer that says that it is ready.
const answerWithin = 20 * time.Second

var errNotOurs = errors.New("the server was not started here")

// Cluster is a private PostgreSQL: one that we started, or one that we found running.
type Cluster struct {
	folder *folder
	server *server // nil: attached, not ours
}

// Start makes the cluster in dir where there is none yet, starts its server and waits until that server answers, which
// after a crash is when it has recovered. The server ends with this process, however it ends. ctx bounds the start only.
// settings are PostgreSQL's, each as name=value; with fsync=off the making is not synced either.
func Start(ctx context.Context, dir string, settings ...string) (*Cluster, error) {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return nil, fmt.Errorf("find the folder of PostgreSQL: %w", err)
	}
	bin, err := findFor(dir, candidates(places))
	if err != nil {
		return nil, err
	}
	if err := create(ctx, bin, dir, !slices.Contains(settings, "fsync=off")); err != nil {
		return nil, err
	}
	f, err := openFolder(dir)
	if err != nil {
		return nil, err
	}
	if err = f.ours(); err == nil {
		err = waitForOld(ctx, f)
	}
	if err != nil {
		return nil, errors.Join(err, f.close())
	}
	s, err := startServer(bin, f, settings)
	if err != nil {
		return nil, errors.Join(err, f.close())
	}
	c := &Cluster{folder: f, server: s}
	if err := c.await(ctx); err != nil {
		grace, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopGrace)
		defer cancel()
		return nil, errors.Join(err, c.Stop(grace))
	}
	return c, nil
}

// Attach connects to a server that runs in dir already, without owning it. One that was started or told to end a moment ago is
// waited for.
func Attach(ctx context.Context, dir string) (*Cluster, error) {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return nil, fmt.Errorf("find the folder of PostgreSQL: %w", err)
	}
	f, err := openFolder(dir)
	if err != nil {
		return nil, err
	}
	c := &Cluster{folder: f}
	if err := c.meet(ctx); err != nil {
		return nil, errors.Join(fmt.Errorf("no server answers in %s, start the daemon first: %w", dir, err), f.close())
	}
	return c, nil
}

// ConnString is how this process connects; another one cannot use it. It is good until Stop.
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
	return errors.Join(err, c.folder.close())
}

// Kill ends our server at once, as a crash would, and returns when it has ended. For tests of what comes after.
func (c *Cluster) Kill() error {
	if c.server == nil {
		return errNotOurs
	}
	return c.server.kill()
}

// Restart waits for the end of a killed server and starts another in its place, under the same ConnString. It must not
// be called beside another method of c; ask again for Done after it.
func (c *Cluster) Restart(ctx context.Context) error {
	if c.server == nil {
		return errNotOurs
	}
	<-c.server.ended
	bin, err := findFor(c.folder.path, candidates(places))
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

// meet asks the server of another until it answers, or runs no more.
func (c *Cluster) meet(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, oldWithin)
	defer cancel()
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for {
		err := c.ping(ctx)
		if err == nil || c.folder.running() == 0 {
			return err
		}
		select {
		case <-ctx.Done():
			return err
		case <-tick.C:
		}
	}
}

// await returns when our server is ready and answers. That some server answers is not enough, it may be an older one:
// ours is the one whose process the lock file names, and that file says too when it is ready.
func (c *Cluster) await(ctx context.Context) error {
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	var since time.Time
	for {
		if pid, ready := c.folder.lockFile(); ready && pid == c.server.cmd.Process.Pid {
			err := c.ping(ctx)
			if err == nil {
				return nil
			}
			if since.IsZero() {
				since = time.Now()
			}
			// A stale file may name our own number where numbers come again at each start, as in a container: then
			// the server recovers first, and writes the file anew.
			if time.Since(since) > answerWithin {
				return fmt.Errorf("PostgreSQL is ready and does not answer, its log is %s: %w", c.server.log.path, err)
			}
		} else {
			since = time.Time{}
		}
		select {
		case <-c.server.ended:
			return fmt.Errorf("PostgreSQL ended while it started, its log %s says why: %s", c.server.log.path, c.server.log.tail())
		case <-ctx.Done():
			return fmt.Errorf("wait for PostgreSQL to be ready, its log is %s: %w", c.server.log.path, ctx.Err())
		case <-tick.C:
		}
	}
}

// oldWithin is how long the server of another may take to start, or to end.
const oldWithin = 15 * time.Second

// waitForOld waits for the server of a daemon that was just killed: its death signal has been sent, it is ending.
func waitForOld(ctx context.Context, f *folder) error {
	ctx, cancel := context.WithTimeout(ctx, oldWithin)
	defer cancel()
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for {
		pid := f.running()
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
