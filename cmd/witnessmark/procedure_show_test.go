package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestProcedureShow(t *testing.T) {
	const file = "../../testdata/procedures/tb-42-rev-4.yaml"
	svg := filepath.Join(t.TempDir(), "head.svg")
	for _, c := range []struct {
		args string
		code int
		says []string
	}{
		{"procedure show " + file, exitOK, []string{"Main bearing caps", "stages snug, seat:", "stage turn:", "9 [1]    3 [2]    1 [3]", "each fastener through all its stages"}},
		{"procedure show " + file + " --joint sump", exitOK, []string{"Oil sump", "5 [r1]  2 [r2]  4 [r3]"}},
		{"procedure show " + file + " --joint main-caps --stage turn", exitOK, []string{"· [9]   5 [1]"}},
		{"procedure show " + file + " --joint head --svg " + svg, exitOK, []string{"drawn to head.svg"}},
		{"procedure show " + file + " --joint hood", exitInput, []string{`no joint "hood"; it has: main-caps, rod-caps`}},
		{"procedure show " + file + " --joint head --stage turn-9", exitInput, []string{`joint head has no stage "turn-9"`}},
		{"procedure show " + file + " --svg " + svg, exitInput, []string{"name it with --joint"}},
	} {
		code, out, errs := said(t, strings.Fields(c.args)...)
		for _, want := range c.says {
			if code != c.code || !strings.Contains(out+errs, want) {
				t.Errorf("%s: got %d and\n%s%s\nwant %d and %q", c.args, code, out, errs, c.code, want)
			}
		}
	}
	if text, err := os.ReadFile(svg); err != nil || !strings.HasPrefix(string(text), "<svg ") {
		t.Errorf("got %.40q, %v, want a picture", text, err)
	}
}
