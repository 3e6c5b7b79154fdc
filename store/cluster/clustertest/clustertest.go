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
	"testing"

	"github.com/jackc/pgx/v5"

	"witnessmark/store/cluster"
)

var (
	once   sync.Once
	shared *cluster.Cluster
	failed error
	count  atomic.Int64
)

// start makes the cluster of this test process. It is removed when the process ends: the folder has been unlinked by
// then only where Remove was called, otherwise the system's cleaning of temporary files takes it.
func start() {
	dir, err := os.MkdirTemp("", "witnessmark-test-")
	if err != nil {
		failed = err
		return
	}
	shared, failed = cluster.Start(context.Background(), filepath.Join(dir, "pg"), "fsync=off", "max_connections=60", "shared_buffers=16MB")
	if failed == nil {
		folder = dir
	}
}

var folder string

// Database makes a fresh database and returns how to connect to it as superuser. It is dropped when the test ends.
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
	if shared != nil {
		shared.Kill()
		os.RemoveAll(folder)
	}
	return code
}
