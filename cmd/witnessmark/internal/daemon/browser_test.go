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

	"github.com/chromedp/chromedp"
)

// browser opens a real one for a test.
func browser(t testing.TB) context.Context {
	t.Helper()
	if _, err := exec.LookPath("chromium"); err != nil {
		t.Skip("no chromium is installed")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.NoSandbox) // it refuses a sandbox under root
	ctx, cancel := chromedp.NewContext(t.Context(), chromedp.WithAllocatorOptions(options...))
	t.Cleanup(cancel)
	ctx, stop := context.WithTimeout(ctx, 2*time.Minute)
	t.Cleanup(stop)
	return ctx
}

// sees waits until the page shows a text.
func sees(t testing.TB, ctx context.Context, text string) {
	t.Helper()
	for range 300 {
		body, err := chromedp.Run(ctx, chromedp.Evaluate[string]("document.body.innerText"))
		if err == nil && strings.Contains(body, text) {
			return
		}
		if err := chromedp.Do(ctx, chromedp.Sleep(100*time.Millisecond)); err != nil {
			t.Fatal(err)
		}
	}
	body, err := chromedp.Run(ctx, chromedp.Evaluate[string]("document.body.innerText"))
	t.Fatalf("got a page that says %q, %v, want %q", body, err, text)
}

func run(t testing.TB, ctx context.Context, actions ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	if err := chromedp.Do(ctx, actions...); err != nil {
		t.Fatal(err)
	}
}

// picture keeps the page as it looks at a phone's, a tablet's and a desk's width, and says when it is wider than that.
func picture(t *testing.T, ctx context.Context, name string) {
	t.Helper()
	folder := os.Getenv("WITNESSMARK_PICTURES")
	if folder == "" {
		folder = t.TempDir()
	}
	for _, width := range []int64{390, 820, 1440} {
		run(t, ctx, chromedp.EmulateViewport(width, 900), chromedp.Sleep(100*time.Millisecond))
		wide, err := chromedp.Run(ctx, chromedp.Evaluate[int64]("document.documentElement.scrollWidth"))
		if err != nil || wide > width {
			t.Errorf("%s: got %d px, %v, want no more than %d", name, wide, err, width)
		}
		png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(folder, fmt.Sprintf("%s-%d.png", name, width)), png, 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

// A technician's way from the set-up code to a joint that is done, with a real browser and a simulated wrench; the daemon
// is stopped in the middle and started again.
func TestBrowser_FromSetUpToADoneJoint(t *testing.T) {
	ctx := browser(t)
	w, port := newSerialWrench(t)
	data := t.TempDir()
	file := strings.Replace(shopFile(port), "127.0.0.1:0", "127.0.0.1:"+freePort(t), 1)
	d := start(t, data, file)
	addProcedure(t, client(t, d))
	committed(t, d)
	code, err := d.pages.SetUpCode()
	if err != nil {
		t.Fatal(err)
	}
	at := "http://" + d.Addr()
	run(t, ctx, chromedp.Navigate(at+"/"))
	sees(t, ctx, "Set up this shop")
	picture(t, ctx, "set-up")
	run(t, ctx, chromedp.SendKeys(`[name=code]`, code), chromedp.SendKeys(`[name=name]`, "Ada Holt"), chromedp.SendKeys(`[name=password]`, password),
		chromedp.Click(`button.big`))
	sees(t, ctx, "Bench 1")
	picture(t, ctx, "benches")
	run(t, ctx, chromedp.Navigate(at+"/bench/1"))
	sees(t, ctx, "No build is at this bench")
	run(t, ctx, chromedp.Click(`a.big`))
	sees(t, ctx, "A new build")
	picture(t, ctx, "start")
	run(t, ctx, chromedp.SendKeys(`[name=engine]`, "E-4711"), chromedp.SendKeys(`[name=work_order]`, "W-12"), chromedp.Click(`button.big`))
	sees(t, ctx, "Bearing caps")
	run(t, ctx, chromedp.Click(`button[value=caps]`))
	sees(t, ctx, "8 of 8 steps left")
	w.pull(t, 30, 40)
	sees(t, ctx, "Fastener 1 is good")
	w.pull(t, 22, 30)
	sees(t, ctx, "low torque")
	picture(t, ctx, "bench")

	stopDaemon(t, d)
	sees(t, ctx, "The connection is lost")
	picture(t, ctx, "lost")
	start(t, data, file)
	w.pull(t, 30, 12)
	sees(t, ctx, "Fastener 2 is good")
	gone, err := chromedp.Run(ctx, chromedp.Evaluate[bool](`document.getElementById("lost").hidden`))
	if err != nil || !gone {
		t.Errorf("got the word of a lost connection on a page that is up to date: %v, %v", gone, err)
	}
	w.pull(t, 30, 41)
	w.pull(t, 30, 40)
	sees(t, ctx, "Crankshaft end float")
	picture(t, ctx, "check")
	run(t, ctx, chromedp.SendKeys(`[name=value]`, "0.12 mm"), chromedp.Click(`.ask + form button`))
	sees(t, ctx, "stage seat")
	for range 4 {
		w.pull(t, 60, 27)
	}
	sees(t, ctx, "Complete")
	picture(t, ctx, "complete")
	run(t, ctx, chromedp.Navigate(at+"/wrenches"))
	sees(t, ctx, "TW-01")
	picture(t, ctx, "wrenches")
	run(t, ctx, chromedp.Navigate(at+"/people"))
	sees(t, ctx, "Ada Holt")
	picture(t, ctx, "people")
}
