package clustertest

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

func TestMain(m *testing.M) {
	code := Main(m)
	if _, err := os.Stat(folder); folder != "" && !errors.Is(err, os.ErrNotExist) {
		println("the test cluster's folder is still there:", folder)
		code = 1
	}
	os.Exit(code)
}

func TestDatabase_OneATest(t *testing.T) {
	for _, name := range []string{"one test", "another test"} {
		t.Run(name, func(t *testing.T) {
			conn, err := pgx.Connect(t.Context(), Database(t))
			if err != nil {
				t.Fatal(err)
			}
			defer conn.Close(context.Background())
			// The second would fail if it saw the first one's table.
			if _, err := conn.Exec(t.Context(), "CREATE TABLE kept (word text)"); err != nil {
				t.Error(err)
			}
		})
	}
	var left int
	conn, err := pgx.Connect(t.Context(), shared.ConnString())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	if err := conn.QueryRow(t.Context(), "SELECT count(*) FROM pg_database WHERE datname LIKE 'test%'").Scan(&left); err != nil || left != 0 {
		t.Errorf("got %d databases left, %v, want none", left, err)
	}
}

func TestSweep_TakesOnlyWhatNobodyOwns(t *testing.T) {
	t.Setenv("TMPDIR", t.TempDir())
	make := func(name string, age time.Duration) string {
		dir := filepath.Join(os.TempDir(), prefix+name)
		if err := os.Mkdir(dir, 0o700); err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(dir, ownerFile)
		if err := os.WriteFile(path, nil, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(path, time.Time{}, time.Now().Add(-age)); err != nil {
			t.Fatal(err)
		}
		return dir
	}
	owned, left, young := make("owned", time.Hour), make("left", time.Hour), make("young", 0)
	f, err := lock(filepath.Join(owned, ownerFile), 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	sweep()
	for dir, want := range map[string]bool{owned: true, left: false, young: true} {
		if _, err := os.Stat(dir); (err == nil) != want {
			t.Errorf("%s: got %v, want it there: %v", filepath.Base(dir), err, want)
		}
	}
}
