package main

import (
	"archive/zip"
	"encoding/json"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// kills is how often something is killed: as often as WITNESSMARK_FAULT_TRIES says, else n times.
func kills(n int) int {
	if asked, err := strconv.Atoi(os.Getenv("WITNESSMARK_FAULT_TRIES")); err == nil {
		return asked
	}
	return n
}

// killed runs the program and kills it: the first time as soon as the file half is there, then in turn after a time that is
// evenly chosen up to a bit more than it takes from its start, or from then. ran tells whether it had come to its end.
func killed(t *testing.T, try int, half string, takes time.Duration, args ...string) (ran bool) {
	t.Helper()
	cmd := command(t, args...)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	wait := rand.N(takes + takes/10)
	if try == 0 {
		wait = 0
	}
	if try%2 == 0 {
		for late := time.Now().Add(2 * takes); time.Now().Before(late); time.Sleep(time.Millisecond) {
			if _, err := os.Stat(half); err == nil {
				break
			}
		}
	}
	timer := time.AfterFunc(wait, func() { _ = cmd.Process.Kill() }) // an error: it has ended already
	err := <-ended
	timer.Stop()
	if err != nil && cmd.ProcessState.Exited() {
		t.Fatalf("%s failed by itself: %v", args[0], err)
	}
	return err == nil
}

// taking is how long the program takes where nobody kills it.
func taking(t *testing.T, args ...string) time.Duration {
	t.Helper()
	began := time.Now()
	if out, err := command(t, args...).CombinedOutput(); err != nil {
		t.Fatalf("%s: %v: %s", args[0], err, out)
	}
	return time.Since(began)
}

// A backup that is killed leaves the shop as it was and no file of the backup's name, or a whole one.
func TestF13c_BackupKilled(t *testing.T) {
	d := newDrill(t)
	t.Run("while the daemon works", d.backupKilled)
	d.kill()
	want := d.journalPart(t)
	t.Run("while no daemon runs", d.backupKilled)
	if got := d.journalPart(t); got != want {
		t.Errorf("got the journal %s, want %s as before", got, want)
	}
	if out := succeed(t, "verify", "--data", d.data); !strings.Contains(out, "ok: shop north") {
		t.Errorf("got %s", out)
	}
}

func (d *drill) backupKilled(t *testing.T) {
	dir := t.TempDir()
	args := func(file string) []string {
		return []string{"backup", "-o", filepath.Join(dir, file), "--plain", "--data", d.data}
	}
	takes, halves, n := taking(t, args("first")...), 0, kills(6)
	for try := range n {
		file := filepath.Join(dir, "killed")
		_ = os.Remove(file + ".part")
		ran := killed(t, try, file+".part", takes, args("killed")...)
		_, err := os.Stat(file)
		if ran && err != nil {
			t.Fatalf("it said that it was written: %v", err)
		}
		if err == nil {
			succeed(t, "restore", file, "--check-only")
		}
		if _, err := os.Stat(file + ".part"); err == nil {
			halves++
			d.halfRefused(t, file+".part")
		}
		_ = os.Remove(file) // where it came to that
	}
	if err := os.WriteFile(filepath.Join(dir, "killed.part"), []byte("half"), 0o600); err != nil {
		t.Fatal(err)
	}
	succeed(t, args("killed")...)
	if left, _ := filepath.Glob(filepath.Join(dir, "*.part")); len(left) > 0 {
		t.Errorf("got %v left by a backup that was taken whole", left)
	}
	if halves == 0 {
		t.Error("got it killed nowhere with a file half written")
	}
	t.Logf("FAULT F13c kills=%d halves=%d", n, halves)
}

// halfRefused offers what a killed backup left: it was killed before the check was over, so that all may be in it.
func (d *drill) halfRefused(t *testing.T, file string) {
	t.Helper()
	code, out, errs := said(t, "restore", file, "--check-only")
	if code == exitOK && strings.Contains(out, "each as its manifest says") {
		return
	}
	if code == exitOK || !strings.Contains(errs, "take another") {
		t.Errorf("half a backup: got %d, %s%s, want it refused with what to do", code, out, errs)
	}
}

// journalPart is the hash of the journal in a backup that is taken now.
func (d *drill) journalPart(t *testing.T) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "b")
	succeed(t, "backup", "-o", file, "--plain", "--without-evidence", "--data", d.data)
	z, err := zip.OpenReader(file)
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	f, err := z.Open("manifest.json")
	if err != nil {
		t.Fatal(err)
	}
	var m struct {
		Parts []struct{ Name, SHA256 string }
	}
	if err := json.NewDecoder(f).Decode(&m); err != nil {
		t.Fatal(err)
	}
	for _, p := range m.Parts {
		if p.Name == "journal" {
			return p.SHA256
		}
	}
	t.Fatal("got a backup without a journal")
	return ""
}

// A restore that is killed leaves a folder that says so, or nothing, or a whole one; once it is removed, all can be had again.
func TestF13d_RestoreKilled(t *testing.T) {
	d := newDrill(t)
	d.kill()
	t.Run("into a private database", func(t *testing.T) { d.restoreKilled(t, nil, func() {}) })
	address, empty := ownDatabase(t)
	t.Run("into a database of one's own", func(t *testing.T) { d.restoreKilled(t, []string{"--database", address}, empty) })
}

// removed removes a folder in which initdb may still work, for a moment after who began it was killed.
func removed(t *testing.T, folder string) {
	t.Helper()
	err := os.RemoveAll(folder)
	for late := time.Now().Add(time.Minute); err != nil && time.Now().Before(late); time.Sleep(20 * time.Millisecond) {
		err = os.RemoveAll(folder)
	}
	if err != nil {
		t.Fatal(err)
	}
}

func (d *drill) restoreKilled(t *testing.T, where []string, empty func()) {
	data := filepath.Join(t.TempDir(), "data")
	args := append([]string{"restore", d.plain, "--data", data}, where...)
	again := func() {
		removed(t, data)
		empty()
	}
	takes, halves, n := taking(t, args...), 0, kills(6)
	for try := range n {
		again()
		if killed(t, try, filepath.Join(data, "unfinished-restore"), takes, args...) {
			continue
		}
		if there, _ := os.ReadDir(data); len(there) == 0 { // it had not begun
			continue
		}
		if _, err := os.Stat(filepath.Join(data, "unfinished-restore")); err != nil { // it was over
			succeed(t, append([]string{"verify", "--data", data}, where...)...)
			continue
		}
		halves++
		for _, args := range [][]string{{"serve", "--config", d.file, "--data", data}, args} {
			if code, _, errs := said(t, args...); code == exitOK || !strings.Contains(errs, "was not finished: remove the folder") {
				t.Fatalf("%s in half a restore: got %d, %s, want it refused with what to do", args[0], code, errs)
			}
		}
	}
	if halves == 0 {
		t.Error("got it killed nowhere in the middle")
	}
	again()
	if out := succeed(t, args...); !strings.Contains(out, "ok: shop north") {
		t.Errorf("got %s", out)
	}
	t.Logf("FAULT F13d kills=%d halves=%d", n, halves)
}
