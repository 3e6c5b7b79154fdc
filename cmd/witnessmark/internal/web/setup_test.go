package web

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
)

// TestSetUpCode_EmptyFile has a file that lost its text, as a power cut can leave one that was never synced: nobody comes
// in by saying nothing, and there is a new code.
func TestSetUpCode_EmptyFile(t *testing.T) {
	c := setupCode{folder: t.TempDir()}
	path := filepath.Join(c.folder, setupFile)
	if err := os.WriteFile(path, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	in := func() error { t.Error("got somebody in"); return nil }
	if err := c.use(" ", in); !errors.Is(err, errWrongCode) {
		t.Errorf("got %v, want the code refused", err)
	}
	code, err := c.read()
	if err != nil || len(code) != 27 {
		t.Errorf("got %q, %v, want a new code", code, err)
	}
	used := false
	if err := c.use(code, func() error { used = true; return nil }); err != nil || !used {
		t.Errorf("got %v, want the new code taken", err)
	}
	if _, err := os.Stat(path); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("got %v, want the used code gone", err)
	}
}
