package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"witnessmark/cmd/witnessmark/internal/daemon"
)

func TestFolder(t *testing.T) {
	installed, none := t.TempDir(), filepath.Join(t.TempDir(), "none")
	filled := t.TempDir()
	for _, file := range []string{"journal", "key"} {
		own := daemon.Folder(filepath.Join(filled, file, "witnessmark"))
		path := map[string]string{"journal": own.Journal(), "key": own.Key()}[file]
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	t.Setenv("HOME", "/home/ada")
	for name, tc := range map[string]struct{ given, state, installed, want string }{
		"the one given wins":                       {"/srv/shop", "/var/state", installed, "/srv/shop"},
		"then the user's state folder":             {"", "/var/state", none, "/var/state/witnessmark"},
		"a relative one does not count":            {"", "state", none, "/home/ada/.local/state/witnessmark"},
		"its usual place is the last":              {"", "", none, "/home/ada/.local/state/witnessmark"},
		"without a shop there the installed one":   {"", "/var/state", installed, installed},
		"a shop of the user's own comes before":    {"", filepath.Join(filled, "journal"), installed, filepath.Join(filled, "journal", "witnessmark")},
		"so does one whose journal is lost":        {"", filepath.Join(filled, "key"), installed, filepath.Join(filled, "key", "witnessmark")},
		"what is installed as a file is no folder": {"", "/var/state", filepath.Join(filled, "key/witnessmark/keys/signing"), "/var/state/witnessmark"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Setenv("XDG_STATE_HOME", tc.state)
			if got := folder(tc.given, tc.installed); got != tc.want {
				t.Errorf("got %q, want %q", got, tc.want)
			}
		})
	}
}

// A demonstration invents readings: none may come into the folder of the service, given by a flag, the environment or the home.
func TestDemo_NotInTheFolderOfTheService(t *testing.T) {
	refused := func(args ...string) {
		t.Helper()
		if code, out, errs := said(t, append(args, "demo", "--once")...); code != exitInput || !strings.Contains(errs, "is for the records of the installed service") {
			t.Errorf("%v: got %d, %q, %q, want it refused", args, code, out, errs)
		}
	}
	refused("--data", packageData)
	refused("--data", packageData+"/play")
	t.Run("home of the service's user", func(t *testing.T) {
		t.Setenv("XDG_STATE_HOME", "")
		t.Setenv("HOME", packageData)
		refused()
	})
	t.Run("environment", func(t *testing.T) {
		t.Setenv("WITNESSMARK_DATA", packageData)
		refused()
	})
	if ofService(packageData + "-2") {
		t.Error("got a folder beside it taken for it")
	}
}
