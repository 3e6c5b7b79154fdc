// Package cluster runs a private PostgreSQL from the installed server binaries: one folder, one unix socket, no
// network. As root it runs the server as another user, since PostgreSQL refuses root.
package cluster

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
)

// ErrNoServer says what to install.
var ErrNoServer = errors.New("no PostgreSQL server was found: install the PostgreSQL server package, for example with `apt-get install postgresql`")

// Binaries is a folder with initdb and postgres in it.
type Binaries string

// places are where packages put the server's binaries, newest version first within each.
var places = []string{"/usr/lib/postgresql/*/bin", "/usr/pgsql-*/bin", "/usr/local/pgsql/bin", "/opt/homebrew/opt/postgresql@*/bin",
	"/usr/local/opt/postgresql@*/bin", "/Applications/Postgres.app/Contents/Versions/*/bin"}

// Find looks on the PATH, then in the usual places.
func Find() (Binaries, error) {
	if p, err := exec.LookPath("postgres"); err == nil && whole(filepath.Dir(p)) {
		return Binaries(filepath.Dir(p)), nil
	}
	return findIn(places)
}

func findIn(places []string) (Binaries, error) {
	for _, place := range places {
		found, err := filepath.Glob(place)
		if err != nil {
			return "", err
		}
		slices.SortFunc(found, func(a, b string) int { return version(b) - version(a) })
		for _, dir := range found {
			if whole(dir) {
				return Binaries(dir), nil
			}
		}
	}
	return "", ErrNoServer
}

func whole(dir string) bool {
	for _, name := range []string{"postgres", "initdb"} {
		if st, err := os.Stat(filepath.Join(dir, name)); err != nil || st.Mode()&0o111 == 0 {
			return false
		}
	}
	return true
}

// version is the number in the last part but one of the path, e.g. 15; 0 where there is none.
func version(dir string) int {
	name := filepath.Base(filepath.Dir(dir))
	for len(name) > 0 && (name[0] < '0' || name[0] > '9') {
		name = name[1:]
	}
	end := 0
	for end < len(name) && name[end] >= '0' && name[end] <= '9' {
		end++
	}
	n, err := strconv.Atoi(name[:end])
	if err != nil {
		return 0
	}
	return n
}

func (b Binaries) path(name string) string { return filepath.Join(string(b), name) }
