package main

import (
	"encoding/json"
	"net"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"witnessmark/cmd/witnessmark/internal/doctor"
)

func TestDoctor(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	data := filepath.Join(t.TempDir(), "data")
	if err := os.Mkdir(data, 0o700); err != nil {
		t.Fatal(err)
	}
	file := write(t, "shop.yaml", `format: witnessmark/config/1
shop: {id: north, name: North engine shop}
data: `+data+`
benches:
  - {id: "1", wrenches: [TW-01]}
wrenches:
  - {id: TW-01, port: "tcp://`+l.Addr().String()+`", profile: semicolon-xor}
`)
	line := regexp.MustCompile(`^(ok    |look  |not ok)  \S.*  \S`)
	t.Run("a sound box", func(t *testing.T) {
		code, out, errs := said(t, "doctor", "--config", file)
		if code != exitOK || errs != "" {
			t.Errorf("got %d, %s%s", code, out, errs)
		}
		for text := range strings.Lines(out) {
			if !line.MatchString(text) {
				t.Errorf("got %q, want a state, a check and what was found", text)
			}
		}
		if !strings.Contains(out, data+" belongs to the daemon alone") || !strings.Contains(out, "TW-01") {
			t.Errorf("got %s, want the folder and the wrench that the configuration names", out)
		}
	})
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	t.Run("a wrench that does not answer", func(t *testing.T) {
		code, out, _ := said(t, "doctor", "--config", file)
		if code != exitAttention || !strings.Contains(out, "not ok  wrench TW-01") || !strings.Contains(out, " → switch its adapter on") {
			t.Errorf("got %d, %s, want the wrench named and what to do", code, out)
		}
	})
	t.Run("as JSON", func(t *testing.T) {
		code, out, _ := said(t, "doctor", "--config", file, "--format", "json")
		var found []doctor.Finding
		if err := json.Unmarshal([]byte(out), &found); err != nil || code != exitAttention || doctor.Healthy(found) || len(found) != 10 {
			t.Errorf("got %d, %v, %s, want ten checks of which one is not ok", code, err, out)
		}
	})
	t.Run("the folder given wins", func(t *testing.T) {
		other := filepath.Join(t.TempDir(), "other")
		if _, out, _ := said(t, "--data", other, "doctor", "--config", file); !strings.Contains(out, other+" is not there yet") {
			t.Errorf("got %s, want the folder that was given", out)
		}
	})
	t.Run("bad input", func(t *testing.T) {
		wrong := write(t, "wrong.yaml", "format: witnessmark/config/1\n")
		for _, args := range [][]string{{"--config", wrong}, {"--user", "nobody-of-this-name"}, {"--format", "xml"}} {
			if code, _, errs := said(t, append([]string{"doctor"}, args...)...); code != exitInput || errs == "" {
				t.Errorf("%v: got %d, %q, want bad input", args, code, errs)
			}
		}
	})
}

// TestRunbook_CommandsExist asks for the help of every command of ours that the runbook names.
func TestRunbook_CommandsExist(t *testing.T) {
	pages, err := filepath.Glob("../../deploy/runbook/*.md")
	if err != nil || len(pages) == 0 {
		t.Fatalf("got %v, %v, want pages", pages, err)
	}
	command := regexp.MustCompile("`witnessmark ([a-z -]+)`")
	asked := 0
	for _, page := range pages {
		text, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		for _, found := range command.FindAllStringSubmatch(string(text), -1) {
			asked++
			if code, _, errs := said(t, append(strings.Fields(found[1]), "--help")...); code != exitOK {
				t.Errorf("%s: %s: %s", page, found[0], errs)
			}
		}
	}
	if asked < 10 {
		t.Errorf("got %d commands, want those of all pages", asked)
	}
}
