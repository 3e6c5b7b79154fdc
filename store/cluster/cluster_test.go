package cluster

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

func TestMain(m *testing.M) {
	if dir := os.Getenv("CLUSTER_CHILD"); dir != "" {
		c, err := Start(context.Background(), dir)
		fmt.Println("started", err)
		if err == nil {
			<-c.Done()
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// begin starts a cluster and stops it with the test.
func begin(t *testing.T, dir string) *Cluster {
	t.Helper()
	c, err := Start(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Stop(context.Background()) })
	return c
}

func query(t *testing.T, c *Cluster, sql string) (out string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), c.ConnString())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	if err := conn.QueryRow(t.Context(), sql).Scan(&out); err != nil {
		t.Fatal(err)
	}
	return out
}

func write(t *testing.T, c *Cluster) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), c.ConnString())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	if _, err := conn.Exec(t.Context(), "CREATE TABLE kept AS SELECT 'torque' AS word"); err != nil {
		t.Fatal(err)
	}
}

func TestCluster_RowsOutliveStopAndCrash(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "pg")
	c := begin(t, dir)
	write(t, c)
	if err := c.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
	c = begin(t, dir)
	if got := query(t, c, "SELECT word FROM kept"); got != "torque" {
		t.Errorf("after a stop: got %q, want torque", got)
	}
	if err := c.Kill(); err != nil {
		t.Fatal(err)
	}
	if err := <-c.Done(); err == nil {
		t.Error("after a crash: got no reason for the end")
	}
	if err := c.Restart(t.Context()); err != nil {
		t.Fatal(err)
	}
	if got := query(t, c, "SELECT word FROM kept"); got != "torque" {
		t.Errorf("after a crash: got %q, want torque", got)
	}
	if got := query(t, c, "SHOW data_checksums"); got != "on" {
		t.Errorf("got data checksums %q, want on", got)
	}
	if got := query(t, c, "SHOW listen_addresses"); got != "" {
		t.Errorf("got listening on %q, want on no network", got)
	}
}

func TestCluster_ClosedParentsAndALongPath(t *testing.T) {
	deep := t.TempDir()
	for range 6 {
		deep = filepath.Join(deep, strings.Repeat("workshop-", 4))
		if err := os.Mkdir(deep, 0o700); err != nil {
			t.Fatal(err)
		}
	}
	c := begin(t, filepath.Join(deep, "pg"))
	if got := query(t, c, "SELECT 'answers'"); got != "answers" {
		t.Errorf("got %q", got)
	}
	a, err := Attach(t.Context(), filepath.Join(deep, "pg"))
	if err != nil {
		t.Fatal(err)
	}
	if got := query(t, a, "SELECT 'answers'"); got != "answers" {
		t.Errorf("attached: got %q", got)
	}
	if err := a.Stop(t.Context()); err != nil {
		t.Error(err)
	}
	if got := query(t, c, "SELECT 'still there'"); got != "still there" {
		t.Errorf("after letting go of the attached one: got %q", got)
	}
}

func TestCluster_EndsWithItsOwner(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "pg")
	child := exec.Command(os.Args[0])
	child.Env = append(os.Environ(), "CLUSTER_CHILD="+dir)
	out, err := child.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := child.Start(); err != nil {
		t.Fatal(err)
	}
	line := make([]byte, 64)
	n, _ := out.Read(line)
	if got := string(line[:n]); got != "started <nil>\n" {
		t.Fatalf("got %q from the owner", got)
	}
	child.Process.Kill()
	child.Wait()
	// Start waits for the killed owner's server to end, and would refuse if it did not.
	if c := begin(t, dir); query(t, c, "SELECT 'answers'") != "answers" {
		t.Error("got no answer after the owner was killed")
	}
}

func TestCluster_InterruptedCreationIsThrownAway(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "pg")
	if err := os.MkdirAll(dir+".new/base", 0o700); err != nil {
		t.Fatal(err)
	}
	begin(t, dir)
	if _, err := os.Stat(dir + ".new"); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("got %v, want the half-made folder gone", err)
	}
}

func TestCluster_ForeignFolderIsLeftAlone(t *testing.T) {
	dir := t.TempDir()
	note := filepath.Join(dir, "letters.txt")
	if err := os.WriteFile(note, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	if _, err := Start(ctx, dir); err == nil || !strings.Contains(err.Error(), "choose another data folder") {
		t.Errorf("got %v, want a refusal that says what to do", err)
	}
	if text, _ := os.ReadFile(note); string(text) != "mine" {
		t.Error("the file in the foreign folder is gone")
	}
}

func TestFind_MissingSaysWhatToInstall(t *testing.T) {
	if _, err := findIn([]string{filepath.Join(t.TempDir(), "*", "bin")}); !errors.Is(err, ErrNoServer) || !strings.Contains(err.Error(), "apt-get install postgresql") {
		t.Errorf("got %v, want what to install", err)
	}
}

func TestFind_NewestVersionFirst(t *testing.T) {
	dir := t.TempDir()
	for _, v := range []string{"9", "15", "17"} {
		bin := filepath.Join(dir, v, "bin")
		os.MkdirAll(bin, 0o755)
		for _, name := range []string{"postgres", "initdb"} {
			if v == "17" && name == "initdb" {
				continue // a client package alone is no server
			}
			os.WriteFile(filepath.Join(bin, name), []byte("#!/bin/sh\n"), 0o755)
		}
	}
	if got, err := findIn([]string{filepath.Join(dir, "*", "bin")}); err != nil || string(got) != filepath.Join(dir, "15", "bin") {
		t.Errorf("got %s, %v, want version 15, the newest that is whole", got, err)
	}
}
