package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"witnessmark/cmd/wrenchsim/sim"
)

// A wrench whose own form refuses what it sends would wait for ever for an acknowledgement.
func TestPlay_FormThatCannotReadTheWrench(t *testing.T) {
	for rule, c := range map[string]struct{ old, new, want string }{
		"the form wants a clock that the script does not give": {"    clock: ", "    # clock: ", "found nothing for clock"},
		"the form wants the wrench's own judgement":            {"tab-decimal-comma", "stx-lrc-columns", "found nothing for judgement"},
	} {
		t.Run(rule, func(t *testing.T) {
			text := strings.Replace(sim.Example, "semicolon-xor", "tab-decimal-comma", 1)
			script := filepath.Join(t.TempDir(), "bench.yaml")
			if err := os.WriteFile(script, []byte(strings.Replace(text, c.old, c.new, 1)), 0o644); err != nil {
				t.Fatal(err)
			}
			var out, notes bytes.Buffer
			if code := run(t.Context(), []string{"play", script, "--listen", "127.0.0.1:0"}, &out, &notes); code != 2 || !strings.Contains(notes.String(), c.want) {
				t.Errorf("got %d and %q, want 2 and %q", code, notes.String(), c.want)
			}
		})
	}
}
