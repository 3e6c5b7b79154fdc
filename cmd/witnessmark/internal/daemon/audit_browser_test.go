package daemon

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	cdbrowser "github.com/chromedp/cdproto/browser"
	cdpage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/store/bundle"
)

// A lead and a technician accept together what failed, the lead releases, and a clerk of the warranty desk looks the engine
// up and takes its bundle along.
func TestBrowser_FromAFindingToABundle(t *testing.T) {
	ctx := browser(t)
	w, port := newSerialWrench(t)
	folder := t.TempDir()
	d := start(t, t.TempDir(), strings.Replace(shopFile(port), "listen:", "witness: "+folder+"/witness\nlisten:", 1))
	b, joint, _ := classABuild(t, d, w)
	second := strings.Replace(strings.Replace(classA, `revision: "1"`, `revision: "2"`, 1), "57..63 N·m", "58..62 N·m", 1)
	if _, err := client(t, d).AddProcedure(t.Context(), control.NewProcedure{File: "caps.yaml", Text: second}); err != nil {
		t.Fatal(err)
	}
	at := "http://" + d.Addr()
	signIn := func(name, with string) {
		run(t, ctx, chromedp.Navigate(at+"/sign-in"), chromedp.SendKeys(`[name=name]`, name), chromedp.SendKeys(`[name=password]`, with), chromedp.Click(`main button.big`))
		sees(t, ctx, name)
	}
	signIn("Ada Holt", password)
	run(t, ctx, chromedp.Navigate(at+"/builds"))
	sees(t, ctx, "Somebody has to decide")
	picture(t, ctx, "builds")
	run(t, ctx, chromedp.Click(`.tiles a.mind`))
	sees(t, ctx, "1 finding stands in the way")
	picture(t, ctx, "build")
	run(t, ctx, chromedp.Click(`.findings a`))
	sees(t, ctx, "a second person says so too")
	picture(t, ctx, "concede")
	run(t, ctx, chromedp.SendKeys(`[name=reason]`, "below the yield of these bolts"), chromedp.SendKeys(`[name=second]`, "Bo Lind"),
		chromedp.SendKeys(`[name=second_password]`, password+"Bo Lind"), chromedp.SendKeys(`#concede [name=own_password]`, password), chromedp.Click(`#concede button.big`))
	sees(t, ctx, "Conceded by Ada Holt and Bo Lind")
	run(t, ctx, chromedp.SendKeys(`#release [name=own_password]`, password), chromedp.Click(`#release button.big`))
	sees(t, ctx, "Take the release back")
	committed(t, d) // what happened is read from the record, which may be behind
	run(t, ctx, chromedp.Reload())
	sees(t, ctx, "Released, signing the ledger")
	standing(t, d, b.ID, bench.Released)
	picture(t, ctx, "released")
	for name, path := range map[string]string{
		"joint": fmt.Sprintf("/builds/%d/joints/%d?stage=seat", b.ID, joint), "ledger": "/ledger", "wrench": "/wrenches/TW-01", "wrenches": "/wrenches",
		"procedures": "/procedures", "procedure": "/procedures/one?family=TB-7&revision=2&against=1",
	} {
		run(t, ctx, chromedp.Navigate(at+path))
		picture(t, ctx, name)
	}
	bad := filepath.Join(folder, "caps.yaml")
	if err := os.WriteFile(bad, []byte(strings.NewReplacer("30 N·m", "thirty", "tighten_to: 60", "tighten: 60").Replace(caps)), 0o600); err != nil {
		t.Fatal(err)
	}
	run(t, ctx, chromedp.Navigate(at+"/procedures"), chromedp.SetUploadFiles(`[name=file]`, []string{bad}), chromedp.Click(`main button.big`))
	sees(t, ctx, "faults are to be mended first")
	picture(t, ctx, "faults")
	run(t, ctx, chromedp.Navigate(at+"/ledger"), chromedp.Click(`main button.big`))
	sees(t, ctx, "In order")

	run(t, ctx, chromedp.Click(`header button`))
	sees(t, ctx, "Sign in")
	signIn("Cleo Marsh", password+"Cleo Marsh")
	run(t, ctx, chromedp.Navigate(at+"/claims"))
	picture(t, ctx, "claims")
	run(t, ctx, chromedp.SendKeys(`[name=q]`, "e 4711"), chromedp.Click(`main button.big`))
	sees(t, ctx, "is written otherwise here")
	picture(t, ctx, "claim")
	run(t, ctx, chromedp.Click(`th a`))
	sees(t, ctx, "Joint caps")
	run(t, ctx, chromedp.Navigate(at+"/claims?q=E-4711&joint=caps&fastener=4"))
	sees(t, ctx, "Where it lies among all builds of the family")
	picture(t, ctx, "claim-fastener")
	if paper := printed(t, ctx, "claim-fastener"); strings.Contains(paper, "Look it up") || strings.Contains(paper, "Sign out") || !strings.Contains(paper, "Engine E-4711, work order W-12") {
		t.Errorf("got %q on paper, want what was done to the engine and nothing to press", paper)
	}
	if _, err := chromedp.CallBrowser(ctx, cdbrowser.SetDownloadBehavior, cdbrowser.SetDownloadBehaviorParams{Behavior: cdbrowser.SetDownloadBehaviorBehaviorAllow, DownloadPath: folder}); err != nil {
		t.Fatal(err)
	}
	run(t, ctx, chromedp.Click(`a[href$="bundle.zip"]`))
	zip := downloaded(t, ctx, filepath.Join(folder, fmt.Sprintf("build-%d-bundle.zip", b.ID)))
	key, err := d.LedgerKey()
	if err != nil {
		t.Fatal(err)
	}
	found, err := bundle.Check(strings.NewReader(string(zip)), int64(len(zip)), key)
	if err != nil || len(found.Faults) != 0 || found.Build != b.ID {
		t.Errorf("got %+v, %v, want a bundle that proves build %d", found, err, b.ID)
	}
}

// downloaded is a file that the browser is about to have: it stands under its own name once it is whole.
func downloaded(t *testing.T, ctx context.Context, file string) []byte {
	t.Helper()
	for {
		data, err := os.ReadFile(file)
		if err == nil {
			return data
		}
		select {
		case <-ctx.Done():
			t.Fatalf("the browser has not downloaded %s: %v", filepath.Base(file), err)
		case <-time.After(50 * time.Millisecond):
		}
	}
}

// printed is the text of the page as it goes to paper, A4.
func printed(t *testing.T, ctx context.Context, name string) string {
	t.Helper()
	folder := os.Getenv("WITNESSMARK_PICTURES")
	if folder == "" {
		folder = t.TempDir()
	}
	got, err := chromedp.Call(ctx, cdpage.PrintToPDF, cdpage.PrintToPDFParams{PaperWidth: 8.27, PaperHeight: 11.69})
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(folder, name+".pdf")
	if err := os.WriteFile(file, got.Data, 0o600); err != nil {
		t.Fatal(err)
	}
	text, err := exec.CommandContext(t.Context(), "pdftotext", "-layout", file, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
