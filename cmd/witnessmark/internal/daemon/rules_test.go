package daemon

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/goccy/go-yaml"
	"github.com/prometheus/client_golang/prometheus"
)

// TestRules_FiguresExist holds the figures that alerts and recording rules ask for to those that a daemon has.
func TestRules_FiguresExist(t *testing.T) {
	_, port := newWrench(t)
	d := start(t, t.TempDir(), shopFile(port))
	all := make(chan *prometheus.Desc)
	go func() {
		d.metrics.registry.Describe(all)
		close(all)
	}()
	known := map[string]bool{}
	name := regexp.MustCompile(`fqName: "([^"]*)"`)
	for one := range all {
		known[name.FindStringSubmatch(one.String())[1]] = true
	}
	asked := 0
	for _, file := range []string{"alerts.yml", "recording.yml"} {
		text, err := os.ReadFile(filepath.Join("../../../../deploy/prometheus", file))
		if err != nil {
			t.Fatal(err)
		}
		var rules struct {
			Groups []struct{ Rules []struct{ Expr string } }
		}
		if err := yaml.Unmarshal(text, &rules); err != nil {
			t.Fatal(err)
		}
		for _, g := range rules.Groups {
			for _, r := range g.Rules {
				for _, word := range regexp.MustCompile(`[\w:]+`).FindAllString(r.Expr, -1) {
					if !strings.HasPrefix(word, "witnessmark_") {
						continue
					}
					if asked++; !known[word] && !known[strings.TrimSuffix(word, "_bucket")] {
						t.Errorf("%s: %s is no figure of the daemon", file, word)
					}
				}
			}
		}
	}
	if asked < 20 {
		t.Errorf("got %d figures asked for, want those of twenty alerts", asked)
	}
}

func TestMetrics_BackupAge(t *testing.T) {
	_, port := newWrench(t)
	d := start(t, t.TempDir(), shopFile(port))
	if text := metricsOf(t, d); strings.Contains(text, "backup_last") {
		t.Error("got a backup that was never taken")
	}
	for _, at := range []int64{1777881540, 1777881600} {
		if err := d.folder.NoteBackup(time.Unix(at, 0)); err != nil {
			t.Fatal(err)
		}
		if got, ok := d.folder.LastBackup(); !ok || got.Unix() != at {
			t.Errorf("got %v, %v, want %d", got, ok, at)
		}
	}
	metricLines(t, d, "backup_last_timestamp_seconds 1.7778816e+09")
	if err := d.folder.NoteBackup(time.Unix(1809417600, 0)); err != nil { // a year ahead
		t.Fatal(err)
	}
	if text := metricsOf(t, d); strings.Contains(text, "backup_last") {
		t.Error("got the age of a backup that lies ahead")
	}
	if err := os.WriteFile(d.folder.in("last-backup"), []byte("soon"), 0o600); err != nil {
		t.Fatal(err)
	}
	if text := metricsOf(t, d); strings.Contains(text, "backup_last") {
		t.Error("got a backup out of what is no time")
	}
}
