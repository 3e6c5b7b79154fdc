package main

import (
	"compress/gzip"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"witnessmark/cmd/witnessmark/internal/daemon"
)

// olderRoot is what the program that made the backup of testdata/backups said of it.
const olderRoot = "shop north, 33 leaves made anew from their rows, signed checkpoints: 17, root YfVqxnLjISroJfTD8TxAQFL0LdCGWc2g3tZgBu0x0Qs="

// A backup that an older program made is restored by this one to the very root that the older one verified, and goes on from
// there.
func TestRestore_OfAnOlderProgram(t *testing.T) {
	file, data := unpacked(t, "../../testdata/backups/north-13.backup.gz"), filepath.Join(t.TempDir(), "data")
	if out := succeed(t, "restore", file, "--data", data); !strings.Contains(out, "ok: "+olderRoot) {
		t.Fatalf("got %s, want %s", out, olderRoot)
	}
	if err := os.Remove(daemon.Folder(data).Journal()); err != nil {
		t.Fatal(err)
	}
	shop := filepath.Join(data, "configuration.yaml")
	succeed(t, "ledger", "rebuild-journal", "--config", shop, "--data", data)
	cmd := serving(t, shop, data)
	for _, step := range []struct {
		args string
		code int
		says string
	}{
		{"build review W-12", exitAttention, "released, but a calibration found bad since touches 1 of its readings"},
		{"joint hand-over Cy --bench 1", exitOK, "engine E-4712, work order W-13, Bearing caps (caps), 0 of 2 steps done. In the hands of Cy."},
		{"check answer seal yes --bench 1 --by Cy", exitOK, "next   fastener 1, stage snug"},
		{"build reopen W-12 --reason asked --by Quinn", exitOK, "W-12: reopened"},
		{"history --engine E-4711 --depth overview", exitOK, "released by Jo Abel"},
	} {
		code, out, errs := said(t, append(strings.Fields(step.args), "--data", data)...)
		if code != step.code || !strings.Contains(out+errs, step.says) {
			t.Errorf("%s: got %d, %q, %q, want %d and %q", step.args, code, out, errs, step.code, step.says)
		}
	}
	written(t, data)
	if err := cmd.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil {
		t.Errorf("serve: %v", err)
	}
	if out := succeed(t, "verify", "--config", shop, "--data", data); !strings.Contains(out, "Checkpoints kept outside from which it goes on: 1") {
		t.Errorf("got %s", out)
	}
}

// unpacked is a file that was packed by gzip.
func unpacked(t *testing.T, path string) string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	whole, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	return write(t, "older.backup", string(whole))
}
