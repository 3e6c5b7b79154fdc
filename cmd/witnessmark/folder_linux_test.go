package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/cmd/witnessmark/internal/daemon"
)

// another is the number of a user who owns nothing here: nobody, as Debian has it.
const another = 65534

// asAnother runs the program as that user.
func asAnother(t *testing.T, args ...string) string {
	t.Helper()
	cmd := exec.Command("/proc/self/exe", args...)
	cmd.Env, cmd.Dir = []string{childMain + "=1", "HOME=/nonexistent", "PATH=" + os.Getenv("PATH")}, "/"
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: another, Gid: another}}
	var said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &said, &said
	if err := cmd.Run(); err == nil {
		t.Errorf("%v: got %s, want it refused", args, said.String())
	}
	return said.String()
}

// A folder of another user is told in one sentence that says as whom to run, whatever was asked.
func TestCommands_InTheFolderOfAnotherUser(t *testing.T) {
	if os.Geteuid() != 0 {
		t.Skip("only root becomes another user")
	}
	dir := t.TempDir()
	data, file := filepath.Join(dir, "data"), filepath.Join(dir, "shop.yaml")
	if err := os.MkdirAll(daemon.Folder(data).Postgres(), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, config.Example(), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, at := range []string{dir, filepath.Dir(dir)} {
		if err := os.Chmod(at, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	const want = " belongs to the user root: run this as that user, for example as root with `runuser -u root -- witnessmark …`\n"
	for _, args := range []string{"build list", "wrench status", "history --engine E-1", "verify", "ledger keys", "sheet W-1 -o " + dir + "/none.pdf", "backup --plain -o " + dir + "/none.zip",
		"serve --config " + file, "ledger rebuild-journal --config " + file, "retention --config " + file} {
		if got := asAnother(t, append(strings.Fields(args), "--data", data)...); got != "witnessmark: the data folder "+data+want {
			t.Errorf("%s: got %q, want %q", args, got, want)
		}
	}
	if err := os.Chmod(file, 0o600); err != nil {
		t.Fatal(err)
	}
	if got := asAnother(t, "config", "check", file); !strings.Contains(got, "may not read the configuration "+file+": run this as the user of the daemon") {
		t.Errorf("got %q, want it said who may", got)
	}
	t.Run("root writes nothing there", func(t *testing.T) {
		if err := os.Chown(data, another, another); err != nil {
			t.Fatal(err)
		}
		for _, args := range [][]string{{"ledger", "rebuild-journal"}, {"ledger", "accept-loss", "--reason", "lost", "--by", "Ada"}} {
			code, _, errs := said(t, append(args, "--config", file, "--data", data)...)
			if code != exitAttention || !strings.Contains(errs, "belongs to the user nobody: run this as that user") {
				t.Errorf("%v: got %d, %q", args, code, errs)
			}
		}
		if left, err := os.ReadDir(data); err != nil || len(left) != 1 {
			t.Errorf("got %v, %v, want nothing beside the database", left, err)
		}
	})
}
