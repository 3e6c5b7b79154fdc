// Package clustertest gives tests a real PostgreSQL: one cluster a test process, a database a test.
package clustertest

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"witnessmark/store/cluster"
)

var (
	once   sync.Once
	shared *cluster.Cluster
	failed error
	count  atomic.Int64
)

// start makes the cluster of this test process. The server ends with the process; its folder goes with Main, and
// without Main with the next test process that comes by.
func start() {
	sweep()
	dir, err := os.MkdirTemp("", prefix)
	if err != nil {
		failed = err
		return
	}
	folder = dir
	if owner, failed = lock(filepath.Join(dir, ownerFile), os.O_CREATE); failed != nil {
		return
	}
	shared, failed = cluster.Start(context.Background(), filepath.Join(dir, "pg"),
		"fsync=off", "max_connections=60", "shared_buffers=16MB")
}

const (
	prefix    = "witnessmark-test-"
	ownerFile = "owner" // locked by the process that the folder belongs to
)

var (
	folder string
	owner  *os.File
)

// sweep removes the folders of processes that ended without Main. A young one may be about to be locked.
func sweep() {
	files, err := filepath.Glob(filepath.Join(os.TempDir(), prefix+"*", ownerFile))
	if err != nil {
		return
	}
	for _, path := range files {
		if st, err := os.Stat(path); err != nil || time.Since(st.ModTime()) < time.Minute {
			continue
		}
		if f, err := lock(path, 0); err == nil {
			_ = os.RemoveAll(filepath.Dir(path)) // what is left is swept another time
			_ = f.Close()
		}
	}
}

// lock opens a file and takes its lock, which lasts until the file is closed or this process ends.
func lock(path string, flag int) (*os.File, error) {
	f, err := os.OpenFile(path, flag|os.O_RDWR, 0o600)
	if err != nil {
		return nil, err
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}

// Database makes a fresh database and returns how this process connects to it as superuser. It is dropped when the test
// ends, whoever is still connected.
// Without the server binaries the test fails, and says what to install.
func Database(tb testing.TB) string {
	tb.Helper()
	once.Do(start)
	if failed != nil {
		tb.Fatal(failed)
	}
	name := fmt.Sprintf("test_%d", count.Add(1))
	exec(tb, "CREATE DATABASE "+name)
	tb.Cleanup(func() { exec(tb, "DROP DATABASE "+name+" WITH (FORCE)") })
	return shared.Database(name)
}

func exec(tb testing.TB, sql string) {
	tb.Helper()
	ctx := context.Background()
	conn, err := pgx.Connect(ctx, shared.ConnString())
	if err != nil {
		tb.Fatal(err)
	}
	_, err = conn.Exec(ctx, sql)
	if err := errors.Join(err, conn.Close(ctx)); err != nil {
		tb.Fatal(err)
	}
}

// Main runs a package's tests and takes the cluster away after them; call it from TestMain.
func Main(m *testing.M) int {
	code := m.Run()
	if err := stop(); err != nil {
		fmt.Fprintln(os.Stderr, "take the test cluster away:", err)
		return max(code, 1)
	}
	return code
}

func stop() error {
	if folder == "" {
		return nil
	}
	var errs []error
	if shared != nil {
		errs = append(errs, shared.Kill(), shared.Stop(context.Background()))
	}
	errs = append(errs, os.RemoveAll(folder))
	if owner != nil {
		errs = append(errs, owner.Close())
	}
	return errors.Join(errs...)
}
