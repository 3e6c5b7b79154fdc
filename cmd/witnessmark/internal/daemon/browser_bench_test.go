package daemon

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// BenchmarkBrowser_VerdictOnTheScreen measures from the moment a frame leaves a wrench until the page in a real browser shows
// its verdict, a pull at a time. Beside it stands the limit: one synced append of the same size on the same disk.
func BenchmarkBrowser_VerdictOnTheScreen(b *testing.B) {
	ctx := browser(b)
	w, port := newSerialWrench(b)
	d := start(b, b.TempDir(), shopFile(port))
	onBench(b, client(b, d))
	newVisitor(b, d).setUp("Ada Holt")
	run(b, ctx, chromedp.Navigate("http://"+d.Addr()+"/sign-in?next=/bench/1"), chromedp.SendKeys(`[name=name]`, "Ada Holt"), chromedp.SendKeys(`[name=password]`, password+enter))
	sees(b, ctx, "8 of 8 steps left")
	// seen[text of the last reading's figure] = when, in ms since 1970
	run(b, ctx, chromedp.Evaluate[chromedp.Void](`globalThis.seen = {};
		new MutationObserver(() => { const f = document.querySelector(".last .figure");
			if (f && !(f.textContent in seen)) seen[f.textContent] = performance.timeOrigin + performance.now(); })
			.observe(document.getElementById("bench"), {subtree: true, childList: true, characterData: true}); undefined`))
	var took []time.Duration
	for i := 0; b.Loop(); i++ {
		angle := int64(20 + i%300)
		shown := fmt.Sprintf("30 N·m · %d°", angle)
		run(b, ctx, chromedp.Evaluate[chromedp.Void](fmt.Sprintf("delete seen[%q]; undefined", shown)))
		sent := time.Now()
		w.pull(b, 30, angle)
		for {
			at, err := chromedp.Run(ctx, chromedp.Evaluate[float64](fmt.Sprintf("seen[%q] || 0", shown)))
			if err != nil {
				b.Fatal(err)
			}
			if at > 0 {
				took = append(took, time.UnixMicro(int64(at*1000)).Sub(sent))
				break
			}
			time.Sleep(5 * time.Millisecond)
		}
		time.Sleep(50 * time.Millisecond) // the next bolt
	}
	slices.Sort(took)
	b.ReportMetric(float64(took[len(took)/2].Microseconds())/1000, "p50-ms")
	b.ReportMetric(float64(took[len(took)*99/100].Microseconds())/1000, "p99-ms")
	b.ReportMetric(float64(synced(b).Microseconds())/1000, "sync-ms")
}

// synced is how long a synced append of 500 bytes takes, the median of fifty.
func synced(b *testing.B) time.Duration {
	f, err := os.Create(filepath.Join(b.TempDir(), "synced"))
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	var all []time.Duration
	for range 50 {
		at := time.Now()
		if _, err := f.Write(make([]byte, 500)); err != nil {
			b.Fatal(err)
		}
		if err := f.Sync(); err != nil {
			b.Fatal(err)
		}
		all = append(all, time.Since(at))
	}
	slices.Sort(all)
	return all[len(all)/2]
}
