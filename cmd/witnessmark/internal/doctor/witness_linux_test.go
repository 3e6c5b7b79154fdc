package doctor

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// copying is a box whose configuration names a witness file on another disk.
func copying(t *testing.T) *Box {
	b := sound(t)
	disk := filepath.Join(t.TempDir(), "disk")
	must(t, os.Mkdir(disk, 0o755))
	for _, at := range []string{filepath.Dir(disk), filepath.Dir(filepath.Dir(disk))} {
		must(t, os.Chmod(at, 0o755))
	}
	b.Config.Witness = filepath.Join(disk, "north.txt")
	return b
}

func witnessOf(t *testing.T, b *Box) Finding {
	t.Helper()
	found := b.witness()
	if len(found) != 1 {
		t.Fatalf("got %+v, want one finding", found)
	}
	return found[0]
}

func TestWitness(t *testing.T) {
	if found := sound(t).witness(); found != nil {
		t.Errorf("got %+v where none is named", found)
	}
	b := copying(t)
	file, disk := b.Config.Witness, filepath.Dir(b.Config.Witness)
	is(t, witnessOf(t, b), OK, "may add checkpoints to "+file)
	b.User = stranger
	is(t, witnessOf(t, b), NotOK, "user stranger may not make "+file)
	must(t, os.WriteFile(file, nil, 0o644))
	f := witnessOf(t, b)
	if is(t, f, NotOK, "user stranger may not read and write "+file); f.Do != "chown stranger "+file {
		t.Errorf("got %q, want a command that puts it right", f.Do)
	}
	must(t, os.Chmod(file, 0o666))
	is(t, witnessOf(t, b), OK, file)
	must(t, os.Chmod(disk, 0o700))
	is(t, witnessOf(t, b), NotOK, "user stranger may not enter "+disk)
	t.Run("on a disk that is not mounted", func(t *testing.T) {
		b := copying(t)
		must(t, os.Remove(filepath.Dir(b.Config.Witness)))
		is(t, witnessOf(t, b), NotOK, "is not there")
	})
	t.Run("on a disk that is read-only", func(t *testing.T) {
		b := copying(t)
		b.System.ReadOnly = func(string) (bool, error) { return true, nil }
		is(t, witnessOf(t, b), NotOK, "is read-only")
	})
	t.Run("a folder", func(t *testing.T) {
		b := copying(t)
		b.Config.Witness = filepath.Dir(b.Config.Witness)
		is(t, witnessOf(t, b), NotOK, "is a folder")
	})
	t.Run("is among the checks", func(t *testing.T) {
		b := copying(t)
		must(t, os.Remove(filepath.Dir(b.Config.Witness)))
		if found := Examine(t.Context(), *b); len(found) != 10 || Healthy(found) {
			t.Errorf("got %+v, want ten checks, of which one is not ok", found)
		}
	})
}

// The unit of the package lets the service write into its own folder only, until a path is added to it (systemd.exec(5)).
func TestWitness_UnderTheUnitOfThePackage(t *testing.T) {
	b := copying(t)
	disk := filepath.Dir(b.Config.Witness)
	put := func(path, text string) {
		t.Helper()
		must(t, os.MkdirAll(filepath.Dir(filepath.Join(b.Root, path)), 0o755))
		must(t, os.WriteFile(filepath.Join(b.Root, path), []byte(text), 0o644))
	}
	shipped, err := os.ReadFile("../../../../deploy/package/witnessmark.service")
	must(t, err)
	put("lib/systemd/system/witnessmark.service", string(shipped))
	is(t, witnessOf(t, b), OK, b.Config.Witness) // somebody else's daemon
	b.User.Name = "witnessmark"
	f := witnessOf(t, b)
	is(t, f, NotOK, "ProtectSystem=strict")
	_, line, _ := strings.Cut(f.Do, "[Service] and ")
	line, _, _ = strings.Cut(line, ",")
	put("etc/systemd/system/witnessmark.service.d/other.conf", "[Service]\nReadWritePaths="+disk+"-2 /srv\n")
	is(t, witnessOf(t, b), NotOK, "ProtectSystem=strict")
	put("etc/systemd/system/witnessmark.service.d/override.conf", "[Service]\n"+line+"\n")
	is(t, witnessOf(t, b), OK, b.Config.Witness)
	t.Run("in the data folder", func(t *testing.T) {
		must(t, os.RemoveAll(filepath.Join(b.Root, "etc")))
		b.Config.Witness = filepath.Join(b.Data, "witness.txt")
		is(t, witnessOf(t, b), OK, b.Config.Witness)
	})
}
