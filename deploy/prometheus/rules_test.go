// Package prometheus holds alert and recording rules for Prometheus; its tests give them to promtool.
package prometheus

import (
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
)

// rules is a rule file, as far as these tests look.
type rules struct {
	Groups []struct {
		Rules []struct {
			Alert, Expr string
			Annotations struct{ Summary, Runbook string }
		}
	}
}

// cases is a file of unit tests, as far as these tests look.
type cases struct {
	Tests []struct {
		Alerts []struct {
			Name string `yaml:"alertname"`
			Want []any  `yaml:"exp_alerts"`
		} `yaml:"alert_rule_test"`
	}
}

func read(t *testing.T, file string, into any) {
	t.Helper()
	text, err := os.ReadFile(file)
	if err == nil {
		err = yaml.Unmarshal(text, into)
	}
	if err != nil {
		t.Fatal(err)
	}
}

func promtool(t *testing.T, args ...string) (string, error) {
	t.Helper()
	path, err := exec.LookPath("promtool")
	if err != nil {
		t.Fatalf("%v: install it, for example with apt-get install prometheus", err)
	}
	out, err := exec.CommandContext(t.Context(), path, args...).CombinedOutput()
	return string(out), err
}

func TestRules_UnitTests(t *testing.T) {
	if out, err := promtool(t, "test", "rules", "alerts_test.yml"); err != nil {
		t.Errorf("%v: %s", err, out)
	}
}

func TestRules_TheConfigurationIsRight(t *testing.T) {
	if out, err := promtool(t, "check", "config", "../prometheus.yml"); err != nil {
		t.Errorf("%v: %s", err, out)
	}
}

func TestRules_EachAlertIsSeenFiringAndQuiet(t *testing.T) {
	fires, quiet := map[string]bool{}, map[string]bool{}
	var c cases
	read(t, "alerts_test.yml", &c)
	for _, test := range c.Tests {
		for _, a := range test.Alerts {
			fires[a.Name] = fires[a.Name] || len(a.Want) > 0
			quiet[a.Name] = quiet[a.Name] || len(a.Want) == 0
		}
	}
	for name := range alerts(t) {
		if !fires[name] || !quiet[name] {
			t.Errorf("%s: got a firing case %v and a quiet one %v, want both", name, fires[name], quiet[name])
		}
	}
}

// alerts gives the page of each alert.
func alerts(t *testing.T) map[string]string {
	t.Helper()
	var file rules
	read(t, "alerts.yml", &file)
	pages := map[string]string{}
	for _, g := range file.Groups {
		for _, r := range g.Rules {
			pages[r.Alert] = r.Annotations.Runbook
		}
	}
	if len(pages) == 0 {
		t.Fatal("got no alerts")
	}
	return pages
}

func TestRunbook_OnePageAnAlert(t *testing.T) {
	var named []string
	for name, page := range alerts(t) {
		named = append(named, filepath.Base(page))
		text, err := os.ReadFile(filepath.Join("..", "..", page))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if title, _, _ := strings.Cut(string(text), "\n"); title != "# "+name {
			t.Errorf("%s: got title %q, want the name of its alert %s", page, title, name)
		}
		for _, part := range []string{"\n## What it means\n", "\n## What to look at\n", "\n## What to do\n"} {
			if !strings.Contains(string(text), part) {
				t.Errorf("%s lacks %q", page, strings.TrimSpace(part))
			}
		}
	}
	files, err := os.ReadDir("../runbook")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		if !slices.Contains(named, f.Name()) {
			t.Errorf("runbook/%s is the page of no alert", f.Name())
		}
	}
}
