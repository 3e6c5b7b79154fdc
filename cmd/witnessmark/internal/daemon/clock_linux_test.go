package daemon

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestSinceBoot(t *testing.T) {
	boot, before, err := SinceBoot()
	if err != nil || len(boot) != 36 { // a UUID, random(4)
		t.Fatalf("got %q, %v, want which boot this is", boot, err)
	}
	again, after, err := SinceBoot()
	if err != nil || again != boot || after < before {
		t.Errorf("got %q and %v after %v, %v, want the same boot to go on", again, after, before, err)
	}
}

// The property is that of org.freedesktop.timedate1(5), which timedatectl(1) prints as yes or no.
func TestAskSystemd(t *testing.T) {
	for said, want := range map[string]struct {
		right bool
		err   string
	}{
		"echo yes":   {true, ""},
		"echo no":    {false, ""},
		"echo maybe": {false, `timedatectl says "maybe"`},
		"exit 1":     {false, "nor does timedatectl tell"},
	} {
		t.Run(said, func(t *testing.T) {
			dir := t.TempDir()
			script := "#!/bin/sh\n[ \"$*\" = 'show --property=NTPSynchronized --value' ] || exit 2\n" + said + "\n"
			if err := os.WriteFile(filepath.Join(dir, "timedatectl"), []byte(script), 0o700); err != nil {
				t.Fatal(err)
			}
			t.Setenv("PATH", dir+":"+os.Getenv("PATH"))
			right, err := askSystemd(t.Context())
			if right != want.right || (err == nil) != (want.err == "") || err != nil && !strings.Contains(err.Error(), want.err) {
				t.Errorf("got %v, %v, want %v, %q", right, err, want.right, want.err)
			}
		})
	}
}
