package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"witnessmark/cmd/witnessmark/internal/daemon"
)

// A backup is restored on a new machine, and the newest checkpoint of the old one was kept: it proves more than the backup.
func TestLedger_AcceptLoss(t *testing.T) {
	d := newDrill(t)
	d.kill()
	data := filepath.Join(t.TempDir(), "again")
	succeed(t, "restore", d.plain, "--data", data)
	if err := os.Remove(daemon.Folder(data).Lost(7)); err != nil { // of the drill; here it would be a second one
		t.Fatal(err)
	}
	newest, err := os.ReadFile(daemon.Folder(d.data).Outside())
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(daemon.Folder(data).Outside(), newest, 0o644); err != nil {
		t.Fatal(err)
	}
	accept := []string{"ledger", "accept-loss", "--config", d.file, "--data", data, "--by", "Ada Holt", "--reason", "the machine burned down"}
	for rule, tc := range map[string]struct {
		args []string
		want string
	}{
		"the daemon refuses and names the way on": {[]string{"serve", "--config", d.file, "--data", data}, "witnessmark ledger accept-loss"},
		"verify does not find what is proven":     {[]string{"verify", "--data", data}, "Bring the newer database back"},
		"a loss needs a reason":                   {append(accept[:len(accept)-1:len(accept)-1], " "), "say what happened"},
		"not over the network":                    {append([]string{"--server", "https://shop.example"}, accept...), "on the machine of the daemon"},
	} {
		if code, _, errs := said(t, tc.args...); code == exitOK || !strings.Contains(errs, tc.want) {
			t.Errorf("%s: got %d, %s, want %q", rule, code, errs, tc.want)
		}
	}
	if out := succeed(t, accept...); !strings.Contains(out, "Start the daemon") {
		t.Errorf("got %s", out)
	}
	rebuild := []string{"ledger", "rebuild-journal", "--config", d.file, "--data", data}
	if code, _, errs := said(t, rebuild...); code == exitOK || !strings.Contains(errs, "nothing of it is lost") {
		t.Errorf("a journal that is there: got %d, %s, want it left alone", code, errs)
	}
	if err := os.Remove(daemon.Folder(data).Journal()); err != nil {
		t.Fatal(err)
	}
	if out := succeed(t, rebuild...); !strings.Contains(out, "entries, as the database has them") {
		t.Errorf("got %s", out)
	}
	evidence, err := filepath.Glob(daemon.Folder(data).Outside() + ".lost-*")
	if err != nil || len(evidence) != 1 {
		t.Fatalf("got %v, %v, want the checkpoint as evidence", evidence, err)
	}
	accepted := regexp.MustCompile(`as Ada Holt accepted in entry \d+ on \d{4}-\d\d-\d\d \d\d:\d\d:\d\dZ: the machine burned down`)
	if out := succeed(t, "verify", "--data", data); !strings.HasPrefix(out, "ok but for what was lost: shop north") ||
		!strings.Contains(out, "BREAK behind leaf ") || !accepted.MatchString(out) {
		t.Errorf("got %s, want the break with its explanation", out)
	}
	if out := succeed(t, "verify", "--data", data, "--checkpoint", evidence[0]); !strings.Contains(out, "BREAK: the checkpoint in "+evidence[0]) {
		t.Errorf("got %s, want the checkpoint told as lost", out)
	}
}
