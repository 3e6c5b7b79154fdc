package daemon

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// deployed is the folder of what is set up beside the daemon.
const deployed = "../../../../deploy"

// dashboard is a dashboard file, as far as these tests look.
type dashboard struct {
	Title      string
	Templating struct{ List []struct{ Name, Type string } }
	Panels     []struct {
		Title   string
		Targets []struct{ Expr string }
	}
}

func dashboards(t *testing.T) map[string]dashboard {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(deployed, "dashboards", "*.json"))
	if err != nil || len(files) == 0 {
		t.Fatalf("got %v, %v, want dashboards", files, err)
	}
	all := map[string]dashboard{}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		var d dashboard
		if err := json.Unmarshal(text, &d); err != nil {
			t.Fatalf("%s: %v", file, err)
		}
		all[filepath.Base(file)] = d
	}
	return all
}

// TestDashboards_NoPanelIsEmpty asks a real Prometheus, which scrapes a real daemon, every query of every panel.
func TestDashboards_NoPanelIsEmpty(t *testing.T) {
	w, port := newWrench(t)
	d := startNow(t, strings.Replace(shopFile(port), "due: 2027-01-17", "due: 2027-01-17, cycles: 5000", 1))
	onBench(t, client(t, d))
	at := startPrometheus(t, d.Addr())
	at.await(t, "the first scrape", `witnessmark_first_pulls_total == 0`)
	committed(t, d)
	if err := d.selfCheck.pass(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	defer busy(t, w)()
	for file, board := range dashboards(t) {
		for _, p := range board.Panels {
			if len(p.Targets) == 0 {
				t.Errorf("%s: %s asks nothing", file, p.Title)
			}
			for _, q := range p.Targets {
				at.await(t, file+": "+p.Title, strings.ReplaceAll(q.Expr, "$__rate_interval", "5s"))
			}
		}
	}
	at.rulesAreWell(t)
}

// busy pulls the wrench again and again until the function that it returns is called.
func busy(t *testing.T, w *wrench) (stop func()) {
	ctx, cancel := context.WithCancel(t.Context())
	var pulling sync.WaitGroup
	pulling.Go(func() {
		for ctx.Err() == nil {
			if err := w.Send(ctx, w.next(30, 40)); err != nil && ctx.Err() == nil {
				t.Error(err)
				return
			}
			time.Sleep(100 * time.Millisecond)
		}
	})
	return func() { cancel(); pulling.Wait() }
}

// startNow is start with the computer's own clock.
func startNow(t *testing.T, file string) *Daemon {
	t.Helper()
	return startTelling(t, t.TempDir(), file, t.Output(), func(o *Options) { o.Clock = time.Now })
}

// server is the address of a Prometheus.
type server string

// startPrometheus runs one with alert and recording rules until the test ends. It scrapes often, so that rates are soon
// there.
func startPrometheus(t *testing.T, target string) server {
	t.Helper()
	rules, err := filepath.Abs(filepath.Join(deployed, "prometheus"))
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	config := fmt.Sprintf(`global: {scrape_interval: 500ms, scrape_timeout: 500ms, evaluation_interval: 500ms}
rule_files: [%q, %q]
scrape_configs:
  - job_name: witnessmark
    static_configs: [{targets: [%q]}]
`, filepath.Join(rules, "recording.yml"), filepath.Join(rules, "alerts.yml"), target)
	file := filepath.Join(dir, "prometheus.yml")
	if err := os.WriteFile(file, []byte(config), 0o600); err != nil {
		t.Fatal(err)
	}
	at := "127.0.0.1:" + freePort(t)
	var said bytes.Buffer
	cmd := exec.Command(tool(t, "prometheus"), "--config.file="+file, "--storage.tsdb.path="+filepath.Join(dir, "data"),
		"--web.listen-address="+at, "--log.level=warn")
	cmd.Stdout, cmd.Stderr = &said, &said
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = cmd.Process.Kill() // there is nothing to keep
		_ = cmd.Wait()
		if t.Failed() {
			t.Logf("prometheus said: %s", said.String())
		}
	})
	return server("http://" + at)
}

// patience is how long an answer may take; the whole test takes much less.
const patience = 45 * time.Second

// await asks until the answer holds a number.
func (s server) await(t *testing.T, what, query string) {
	t.Helper()
	var last error
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(100 * time.Millisecond) {
		if last = s.holdsNumber(t, query); last == nil {
			return
		}
	}
	t.Fatalf("%s: %s: %v", what, query, last)
}

// holdsNumber says why the answer to a query shows nothing.
func (s server) holdsNumber(t *testing.T, query string) error {
	t.Helper()
	var answer struct {
		Status, Error string
		Data          struct {
			Result []struct{ Value [2]any }
		}
	}
	if err := s.get(t, "/api/v1/query?query="+url.QueryEscape(query), &answer); err != nil {
		return err
	}
	for _, r := range answer.Data.Result {
		if v, is := r.Value[1].(string); is && v != "NaN" {
			return nil
		}
	}
	return fmt.Errorf("got %d series without a number, %s %s", len(answer.Data.Result), answer.Status, answer.Error)
}

func (s server) get(t *testing.T, path string, into any) error {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, string(s)+path, nil)
	if err != nil {
		return err
	}
	resp, err := (&http.Transport{DisableKeepAlives: true}).RoundTrip(req)
	if err != nil {
		return err
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil {
		return err
	}
	return json.Unmarshal(text, into)
}

// rulesAreWell asserts that no rule failed on what the daemon serves.
func (s server) rulesAreWell(t *testing.T) {
	t.Helper()
	var answer struct {
		Data struct {
			Groups []struct {
				Rules []struct{ Name, Health, LastError string }
			}
		}
	}
	if err := s.get(t, "/api/v1/rules", &answer); err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, g := range answer.Data.Groups {
		for _, r := range g.Rules {
			n++
			if r.Health != "ok" {
				t.Errorf("rule %s is %s: %s", r.Name, r.Health, r.LastError)
			}
		}
	}
	if n < 20 {
		t.Errorf("got %d rules, want those of both files", n)
	}
}

// TestDashboards_FitAnyServer holds that a dashboard names no server and no data source of ours.
func TestDashboards_FitAnyServer(t *testing.T) {
	ids := regexp.MustCompile(`"(id|uid)": *("[^"]*"|[^,\s]+)`)
	for file, board := range dashboards(t) {
		text, err := os.ReadFile(filepath.Join(deployed, "dashboards", file))
		if err != nil {
			t.Fatal(err)
		}
		for _, found := range ids.FindAllStringSubmatch(string(text), -1) {
			if found[2] != `"${datasource}"` {
				t.Errorf("%s: got %s, want no id", file, found[0])
			}
		}
		if v := board.Templating.List; len(v) != 1 || v[0].Name != "datasource" || v[0].Type != "datasource" {
			t.Errorf("%s: got the variables %v, want the data source alone", file, v)
		}
	}
}

// TestRules_AskForWhatIsServed compares the names in rules and dashboards with what the daemon can serve.
func TestRules_AskForWhatIsServed(t *testing.T) {
	_, port := newWrench(t)
	d := start(t, t.TempDir(), away(shopFile(port)))
	descs := make(chan *prometheus.Desc, 1000)
	d.metrics.registry.Describe(descs)
	close(descs)
	var served []string
	for desc := range descs {
		_, name, _ := strings.Cut(desc.String(), `fqName: "`)
		served = append(served, name[:strings.Index(name, `"`)])
	}
	names := regexp.MustCompile(`(^|[^:a-z_])(witnessmark_[a-z_]+)`)
	files, err := filepath.Glob(filepath.Join(deployed, "*", "*"))
	if err != nil {
		t.Fatal(err)
	}
	asked := 0
	for _, file := range files {
		if kind := filepath.Ext(file); kind != ".json" && kind != ".yml" {
			continue
		}
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, found := range names.FindAllStringSubmatch(string(text), -1) {
			asked++
			name := strings.TrimSuffix(strings.TrimSuffix(found[2], "_bucket"), "_count")
			if !slices.Contains(served, name) {
				t.Errorf("%s asks for %s, which the daemon does not serve", file, found[2])
			}
		}
	}
	if asked < 50 {
		t.Errorf("got %d names, want those of all rules and dashboards", asked)
	}
}
