package main

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// module is the path before every import of our own.
const module = "witnessmark/"

// rank orders the houses: a file may import its own house and those of a lower rank.
var rank = map[string]int{"device": 0, "audit": 1, "store": 2, "cmd": 3, "deploy": 4}

// impure is what the pure house must not import: clocks cannot be seen here, everything else that reaches outside can.
var impure = []string{
	"os", "io/fs", "io/ioutil", "net", "syscall", "database/sql", "math/rand", "crypto/rand", "log", "runtime/debug",
	"golang.org/x/sys", "github.com/jackc", "go.bug.st/serial", "go.etcd.io/bbolt", "github.com/rs/zerolog",
	"github.com/prometheus",
}

// imports lists, for every Go file of the tree, what it imports.
func imports(t *testing.T) map[string][]string {
	t.Helper()
	tree := os.DirFS("../..")
	found := map[string][]string{}
	err := fs.WalkDir(tree, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && name != "." && (strings.HasPrefix(d.Name(), ".") || d.Name() == "testdata") {
			return fs.SkipDir
		}
		if d.IsDir() || path.Ext(name) != ".go" {
			return nil
		}
		text, err := fs.ReadFile(tree, name)
		if err != nil {
			return err
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, text, parser.ImportsOnly)
		if err != nil {
			return err
		}
		found[name] = []string{}
		for _, spec := range file.Imports {
			imported, err := strconv.Unquote(spec.Path.Value)
			if err != nil {
				return err
			}
			found[name] = append(found[name], imported)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return found
}

// wrongWay says why a file may not import a package; empty: it may.
func wrongWay(file, imported string) string {
	rest, ours := strings.CutPrefix(imported, module)
	if !ours {
		return ""
	}
	from, _, _ := strings.Cut(file, "/")
	to, _, _ := strings.Cut(rest, "/")
	low, known := rank[from]
	high, target := rank[to]
	switch {
	case !known || !target:
		return "a house without a place in the order"
	case high > low:
		return "against the order device, audit, store, cmd"
	}
	return ""
}

// reachesOut says whether a file of the pure house imports something that reaches outside. Test files may.
func reachesOut(file, imported string) bool {
	if !strings.HasPrefix(file, "audit/") || strings.HasSuffix(file, "_test.go") {
		return false
	}
	return slices.ContainsFunc(impure, func(p string) bool {
		return imported == p || strings.HasPrefix(imported, p+"/")
	})
}

func TestImports_OneWay(t *testing.T) {
	all := imports(t)
	if len(all["cmd/wrenchsim/imports_test.go"]) == 0 {
		t.Fatal("got no imports of this very file: the walk looks at the wrong tree")
	}
	for file, list := range all {
		for _, imported := range list {
			if why := wrongWay(file, imported); why != "" {
				t.Errorf("%s imports %s: %s", file, imported, why)
			}
			if reachesOut(file, imported) {
				t.Errorf("%s imports %s: audit is pure", file, imported)
			}
		}
	}
}

func TestImports_Rules(t *testing.T) {
	for _, c := range []struct {
		file, imported string
		allowed        bool
	}{
		{"device/reading.go", "witnessmark/device/unit", true},
		{"audit/mark.go", "witnessmark/device", true},
		{"device/reading.go", "witnessmark/audit", false},
		{"audit/mark_test.go", "witnessmark/store", false},
		{"store/store.go", "witnessmark/cmd/wrenchsim/sim", false},
		{"tools/x.go", "witnessmark/device", false},
		{"audit/mark.go", "math/rand/v2", false},
		{"audit/mark.go", "net/http", false},
		{"audit/mark.go", "github.com/jackc/pgx/v5", false},
		{"audit/mark.go", "encoding/json", true},
		{"audit/mark_test.go", "os", true},
		{"store/store.go", "os", true},
	} {
		if got := wrongWay(c.file, c.imported) == "" && !reachesOut(c.file, c.imported); got != c.allowed {
			t.Errorf("%s imports %s: got allowed %v, want %v", c.file, c.imported, got, c.allowed)
		}
	}
}
