package main

import (
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/cmd/witnessmark/internal/daemon"
)

// administered is a daemon of the example with Ada Holt as its administrator.
func administered(t *testing.T, data string) *daemon.Daemon {
	t.Helper()
	cfg, err := config.Parse("example.yaml", []byte(strings.Replace(string(config.Example()), "listen: 127.0.0.1:7680", "listen: 127.0.0.1:0", 1)))
	if err != nil {
		t.Fatal(err)
	}
	d := works(t, cfg, data, time.Now)
	written(t, data)
	code, err := os.ReadFile(filepath.Join(data, "set-up-code"))
	if err != nil {
		t.Fatal(err)
	}
	resp, err := http.PostForm("http://"+d.Addr()+"/set-up", url.Values{"code": {string(code)}, "name": {"Ada Holt"}, "password": {"three words of no kin"}})
	if err != nil {
		t.Fatal(err)
	}
	if err := resp.Body.Close(); err != nil {
		t.Fatal(err)
	}
	return d
}

// A token is given beside the daemon; the same commands then go over the network, as its person.
func TestCommands_OverTheNetwork(t *testing.T) {
	data := t.TempDir()
	d := administered(t, data)
	here, there := "--data "+data, "--server http://"+d.Addr()+" --token-file "
	file, plate := filepath.Join(t.TempDir(), "token"), write(t, "plates.yaml", plates)
	for _, step := range []struct {
		args string
		code int
		says string
	}{
		{"token give cell-4 --for Nobody --by Ada_Holt " + here, exitAttention, "nobody of that name"},
		{"token give cell-4 --for Ada_Holt " + here, exitInput, "say who does this"},
		{"token give cell-4 --for Ada_Holt --days 3 --by Ada_Holt --write " + file + " " + here, exitOK, "token cell-4 acts as Ada Holt until"},
		{"token give cell-5 --for Ada_Holt --by Ada_Holt --write " + file + " " + here, exitInput, "make the file"},
		{"token give cell-5 --for Ada_Holt --by Ada_Holt " + here, exitOK, "shown this once:\nwmt_"},
		{"token list " + here, exitOK, "cell-5  Ada Holt"},
		{"procedure add " + plate + " " + here, exitOK, "TB-7 revision 1"},
		{"build open --engine E-1 --family TB-7 --work-order W-1 " + there + file, exitOK, "procedure TB-7 revision 1"},
		{"build open --engine E-2 --family TB-7 --work-order W-2 --by Quinn " + there + file, exitAttention, "cannot act as"},
		{"joint start plate --bench 1 --build W-1 " + there + file, exitOK, "next   fastener 1"},
		{"build release W-1 " + there + file, exitAttention, "without --server"},
		{"build list " + there + plate, exitInput, "one token and nothing else"},
		{"build list " + there + file + ".none", exitInput, "read the token"},
		{"build list --server http://" + d.Addr(), exitInput, "--token-file"},
		{"token take cell-4 --by Ada_Holt " + here, exitOK, "taken back"},
		{"build list " + there + file, exitAttention, "was taken back"},
		{"build list " + here, exitOK, "E-1"},
		{"version --server http://" + d.Addr(), exitOK, "witnessmark"},
	} {
		args := strings.Fields(step.args)
		for i := range args {
			args[i] = strings.ReplaceAll(args[i], "Ada_Holt", "Ada Holt")
		}
		code, out, errs := said(t, args...)
		if code != step.code || !strings.Contains(out+errs, step.says) {
			t.Errorf("%s: got %d, %q, %q, want %d and %q", step.args, code, out, errs, step.code, step.says)
		}
	}
	if info, err := os.Stat(file); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("got %v, %v, want a file that nobody else reads", info.Mode(), err)
	}
}
