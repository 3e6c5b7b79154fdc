// Package cluster runs a private PostgreSQL from the installed server binaries: one folder, one unix socket, no
// network. As root it runs the server as another user, since PostgreSQL refuses root.
package cluster

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
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
	all := candidates(places)
	if len(all) == 0 {
		return "", ErrNoServer
	}
	return all[0], nil
}

// FindFor gives the binaries that Start would use for a data folder.
func FindFor(dir string) (Binaries, error) { return findFor(dir, candidates(places)) }

// findFor gives the binaries for a data folder: any for a new one, else those of the version that made it. After an
// upgrade of the system the newest are often not those.
func findFor(dir string, all []Binaries) (Binaries, error) {
	if len(all) == 0 {
		return "", ErrNoServer
	}
	text, err := os.ReadFile(filepath.Join(dir, "PG_VERSION"))
	if errors.Is(err, os.ErrNotExist) {
		return all[0], nil
	}
	if err != nil {
		return "", fmt.Errorf("read the version of the data folder: %w", err)
	}
	made := strings.TrimSpace(string(text))
	if made == "" {
		return "", fmt.Errorf("the data folder %s is damaged or not whole, as its PG_VERSION is empty: restore a backup", dir)
	}
	for _, b := range all {
		if b.major() == made {
			return b, nil
		}
	}
	return "", fmt.Errorf("the data folder %s was made by PostgreSQL %s, which is not installed: install that version's server, for example with `apt-get install postgresql-%s`",
		dir, made, made)
}

// candidates are the folders that hold a whole server, the preferred one first.
func candidates(places []string) []Binaries {
	var all []Binaries
	if p, err := exec.LookPath("postgres"); err == nil && whole(filepath.Dir(p)) {
		all = append(all, Binaries(filepath.Dir(p)))
	}
	for _, place := range places {
		found, err := filepath.Glob(place)
		if err != nil {
			continue // only a malformed pattern
		}
		slices.SortFunc(found, func(a, b string) int { return version(b) - version(a) })
		for _, dir := range found {
			if whole(dir) {
				all = append(all, Binaries(dir))
			}
		}
	}
	return all
}

// major is the version that the server states of itself, as PG_VERSION spells it, e.g. 15; empty when it states none.
func (b Binaries) major() string {
	out, err := exec.Command(b.path("postgres"), "--version").Output()
	if err != nil {
		return ""
	}
	_, number, _ := strings.Cut(string(out), "(PostgreSQL) ")
	return number[:len(number)-len(strings.TrimLeft(number, "0123456789"))]
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
