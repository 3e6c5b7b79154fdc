package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/cmd/witnessmark/internal/daemon"
)

// What is asked for in the wrong place is refused in one sentence, and nothing is made there.
func TestRun_Astray(t *testing.T) {
	nowhere := filepath.Join(t.TempDir(), "none")
	shop, older := write(t, "shop.yaml", string(config.Example())), unpacked(t, "../../testdata/backups/north-13.backup.gz")
	unreached := []string{"--database", "postgres://nobody@127.0.0.1:1/none?connect_timeout=5"}
	for rule, tc := range map[string]struct {
		args []string
		code int
		says string
	}{
		"a journal of no shop":           {[]string{"ledger", "rebuild-journal", "--config", shop, "--data", nowhere}, exitInput, "no shop has kept records in " + nowhere},
		"a loss of no shop":              {[]string{"ledger", "accept-loss", "--config", shop, "--data", nowhere, "--reason", "gone", "--by", "Ada"}, exitInput, "no shop has kept records in " + nowhere},
		"served in a file":               {[]string{"serve", "--config", shop, "--data", shop}, exitAttention, "cannot be written to: see to its disk and its rights"},
		"restored into a file":           {[]string{"restore", older, "--data", shop}, exitInput, "name another folder with --data"},
		"restored into no database":      {append([]string{"restore", older, "--data", nowhere}, unreached...), exitAttention, "see that its server runs"},
		"verified in a database of none": {append([]string{"verify", "--key", write(t, "key.pub", otherShop)}, unreached...), exitAttention, "see that its server runs"},
	} {
		code, _, errs := said(t, tc.args...)
		if code != tc.code || !strings.Contains(errs, tc.says) || strings.Count(errs, "\n") != 1 {
			t.Errorf("%s: got %d, %q, want %d and one line with %q", rule, code, errs, tc.code, tc.says)
		}
	}
	if _, err := os.Stat(nowhere); err == nil {
		t.Errorf("got %s made", nowhere)
	}
}

// Of two backups of a shop whose daemon is stopped the second is told to wait.
func TestBackup_BesideAnotherAtRest(t *testing.T) {
	data := t.TempDir()
	if err := os.WriteFile(daemon.Folder(data).Journal(), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	lock, err := daemon.Folder(data).Lock()
	if err != nil {
		t.Fatal(err)
	}
	defer lock.Close()
	code, _, errs := said(t, "backup", "-o", filepath.Join(t.TempDir(), "b"), "--plain", "--data", data)
	if code != exitAttention || !strings.Contains(errs, "repeat when that is done") {
		t.Errorf("got %d, %s", code, errs)
	}
}

// beside takes a backup where none can be taken: what another one is writing stays as it is.
func (d *drill) beside(t *testing.T) {
	file := filepath.Join(t.TempDir(), "b")
	other, err := os.Create(file + ".part")
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	if _, err := daemon.LockFile(other); err != nil {
		t.Fatal(err)
	}
	if _, err := other.WriteString("half"); err != nil {
		t.Fatal(err)
	}
	args := []string{"backup", "-o", file, "--plain", "--data", d.data}
	if code, _, errs := said(t, args...); code != exitAttention || !strings.Contains(errs, "another backup is being written") {
		t.Errorf("got %d, %s, want it told to wait", code, errs)
	}
	if text, err := os.ReadFile(file + ".part"); err != nil || string(text) != "half" {
		t.Errorf("got %q, %v, want what the other one wrote", text, err)
	}
	args[2] = filepath.Join(t.TempDir(), "none", "b")
	if code, _, errs := said(t, args...); code != exitInput || !strings.Contains(errs, "name another place with -o") {
		t.Errorf("into no folder: got %d, %s", code, errs)
	}
}
