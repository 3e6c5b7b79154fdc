package cluster

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// install makes a folder of binaries that say they are of that version.
func install(t *testing.T, dir, version string, names ...string) {
	t.Helper()
	bin := filepath.Join(dir, version, "bin")
	if err := os.MkdirAll(bin, 0o755); err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		script := "#!/bin/sh\necho '" + name + " (PostgreSQL) " + version + ".20 (packaged 2026)'\n"
		if err := os.WriteFile(filepath.Join(bin, name), []byte(script), 0o755); err != nil {
			t.Fatal(err)
		}
	}
}

func TestFind_MissingSaysWhatToInstall(t *testing.T) {
	t.Setenv("PATH", t.TempDir())
	all := candidates([]string{filepath.Join(t.TempDir(), "*", "bin")})
	if _, err := findFor(t.TempDir(), all); !errors.Is(err, ErrNoServer) || !strings.Contains(err.Error(), "apt-get install postgresql") {
		t.Errorf("got %v, want what to install", err)
	}
}

func TestFind_Version(t *testing.T) {
	t.Setenv("PATH", "/bin") // echo is the shell's own
	dir := t.TempDir()
	install(t, dir, "9", "postgres", "initdb")
	install(t, dir, "15", "postgres", "initdb")
	install(t, dir, "16", "postgres", "initdb")
	install(t, dir, "17", "postgres") // without initdb it is no whole server
	all := candidates([]string{filepath.Join(dir, "*", "bin")})
	for _, tc := range []struct{ name, made, want string }{
		{"a new folder gets the newest that is whole", "", "16"},
		{"a folder gets the version that made it", "15\n", "15"},
		{"a version that is not installed is asked for", "14\n", "install that version's server, for example with `apt-get install postgresql-14`"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			data := t.TempDir()
			if tc.made != "" {
				if err := os.WriteFile(filepath.Join(data, "PG_VERSION"), []byte(tc.made), 0o600); err != nil {
					t.Fatal(err)
				}
			}
			got, err := findFor(data, all)
			if err != nil && !strings.Contains(err.Error(), tc.want) || err == nil && string(got) != filepath.Join(dir, tc.want, "bin") {
				t.Errorf("got %s, %v, want %s", got, err, tc.want)
			}
		})
	}
}
