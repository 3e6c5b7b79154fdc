package procedure

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"witnessmark/device/strictyaml"
)

// TestParse_Wrong reads every wrong file; the faults expected of it stand beside it. With WRITE_FAULTS=1 in the
// environment it writes them instead, to be read before they are kept.
func TestParse_Wrong(t *testing.T) {
	paths, err := filepath.Glob(files + "wrong/*.yaml")
	if err != nil || len(paths) == 0 {
		t.Fatalf("got %d wrong files, %v, want some", len(paths), err)
	}
	for _, path := range paths {
		t.Run(filepath.Base(path), func(t *testing.T) {
			text, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			p, err := Parse(filepath.Base(path), text)
			if faults, ok := errors.AsType[strictyaml.Faults](err); !ok || len(faults) == 0 || p != nil {
				t.Fatalf("got %v, %v, want no procedure and its faults", p, err)
			}
			compare(t, strings.TrimSuffix(path, ".yaml")+".faults", err.Error()+"\n")
		})
	}
}

func compare(t *testing.T, path, got string) {
	t.Helper()
	if os.Getenv("WRITE_FAULTS") != "" {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("got\n%swant\n%s", got, want)
	}
}
