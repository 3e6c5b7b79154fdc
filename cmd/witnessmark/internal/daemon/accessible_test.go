package daemon

import (
	"context"
	"encoding/json"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// axe is the checker of Deque Systems (axe-core, MPL-2.0) in the version and with the hash that package-lock.json names.
func axe(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	for _, name := range []string{"package.json", "package-lock.json"} {
		b, err := os.ReadFile(filepath.Join("testdata", name))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	install := exec.CommandContext(t.Context(), "npm", "ci", "--ignore-scripts", "--no-audit", "--no-fund")
	install.Dir = dir
	if out, err := install.CombinedOutput(); err != nil {
		t.Fatalf("npm ci: %v\n%s\nthis test needs node, npm and the npm registry", err, out)
	}
	b, err := os.ReadFile(filepath.Join(dir, "node_modules", "axe-core", "axe.min.js"))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// finding is something that axe-core holds against a page.
type finding struct {
	ID, Impact, Help string
	Nodes            []struct{ HTML string }
}

// barriers are the serious and critical ones on the page that is open.
func barriers(t *testing.T, ctx context.Context, checker string) []string {
	t.Helper()
	text, err := chromedp.Run(ctx, chromedp.Evaluate[string](checker+`;
		axe.run({runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"]}).then(r => JSON.stringify(r.violations))`, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatal(err)
	}
	var found []finding
	if err := json.Unmarshal([]byte(text), &found); err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, f := range found {
		if f.Impact == "serious" || f.Impact == "critical" {
			out = append(out, fmt.Sprintf("%s: %s (%s)", f.ID, f.Help, f.Nodes[0].HTML))
		}
	}
	return out
}

// weight is how many bytes a page and all that it needs came to, and how much it shifted after it was first drawn.
func weight(t *testing.T, ctx context.Context) (bytes int64, shift float64) {
	t.Helper()
	bytes, err := chromedp.Run(ctx, chromedp.Evaluate[int64](`[...performance.getEntriesByType("navigation"), ...performance.getEntriesByType("resource")]
		.filter(e => e.initiatorType !== "other" || e.entryType === "navigation").reduce((n, e) => n + e.decodedBodySize, 0)`))
	if err != nil {
		t.Fatal(err)
	}
	shift, err = chromedp.Run(ctx, chromedp.Evaluate[float64](`new Promise(done => {
		let sum = 0;
		new PerformanceObserver(l => l.getEntries().forEach(e => { if (!e.hadRecentInput) sum += e.value; })).observe({type: "layout-shift", buffered: true});
		setTimeout(() => done(sum), 200);
	})`, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatal(err)
	}
	return bytes, shift
}

// Every page that somebody can open: nothing that keeps anybody out, under 100 kB with all that it needs, and nothing
// moves once it is drawn.
func TestBrowser_EveryPageIsAccessibleAndLight(t *testing.T) {
	ctx := browser(t)
	checker := axe(t)
	w, port := newWrench(t)
	d := start(t, t.TempDir(), shopFile(port))
	b := onBench(t, client(t, d))
	w.pull(t, 30, 40)
	w.pull(t, 22, 30)
	committed(t, d)
	onBench1, err := d.View("1")
	if err != nil {
		t.Fatal(err)
	}
	code, err := d.pages.SetUpCode()
	if err != nil {
		t.Fatal(err)
	}
	at := "http://" + d.Addr()
	look := func(path string) {
		t.Helper()
		run(t, ctx, chromedp.Navigate(at+path))
		for _, f := range barriers(t, ctx, checker) {
			t.Errorf("%s: %s", path, f)
		}
		if bytes, shift := weight(t, ctx); bytes == 0 || bytes > 100_000 || shift > 0.02 {
			t.Errorf("%s: got %d bytes and a shift of %.3f, want under 100 kB and none", path, bytes, shift)
		}
	}
	run(t, ctx, chromedp.EmulateViewport(820, 900))
	look("/set-up")
	admin := newVisitor(t, d)
	admin.want(303, "", "POST", "/set-up", url.Values{"code": {code}, "name": {"Ada Holt"}, "password": {password}})
	look("/sign-in")
	run(t, ctx, chromedp.SendKeys(`[name=name]`, "Ada Holt"), chromedp.SendKeys(`[name=password]`, password), chromedp.Click(`main button.big`))
	sees(t, ctx, "Bench 1")
	look("/claims?q=E-4711&joint=caps&fastener=1")
	for _, a := range d.pages.Table() {
		method, path, _ := strings.Cut(a.Pattern, " ")
		if method != "GET" || a.Open || strings.HasPrefix(path, "/api/") || !isPage(path) {
			continue
		}
		if path == "/procedures/one" {
			path += "?family=TB-7&revision=1"
		}
		look(strings.NewReplacer("{run}", fmt.Sprint(onBench1.Run), "{wrench}", "TW-01", "{$}", "", "{bench}", "1", "{build}", fmt.Sprint(b.ID), "{id}", fmt.Sprint(b.ID)).Replace(path))
	}
}

// isPage is true of what is looked at, and not downloaded or listened to.
func isPage(path string) bool {
	for _, other := range []string{"/live", ".pdf", ".zip", "/progress", ".json", ".yaml", "/watch"} {
		if strings.HasSuffix(path, other) {
			return false
		}
	}
	return true
}
