package daemon

import (
	"net/url"
	"testing"

	"github.com/chromedp/chromedp"
)

const enter = "\r"

// The browser of a bench is enrolled; a technician signs in by badge and PIN, hands over to a colleague, who puts a wrong
// answer right; and when the colleague is shut out the page says so by itself.
func TestBrowser_BadgeAndHandOver(t *testing.T) {
	ctx := browser(t)
	w, port := newSerialWrench(t)
	d := start(t, t.TempDir(), twoBenches(port))
	c := client(t, d)
	onBench(t, c)
	admin := newVisitor(t, d)
	admin.setUp("Ada Holt")
	admin.badged(c, "Bo Lind", "B-7", "technician")
	admin.badged(c, "Cy Moor", "B-8", "technician")
	at := "http://" + d.Addr()

	run(t, ctx, chromedp.Navigate(at+"/bench/1/enrol"))
	run(t, ctx, chromedp.SendKeys(`form[action="/sign-in"] [name=name]`, "Ada Holt"), chromedp.SendKeys(`form[action="/sign-in"] [name=password]`, password+enter))
	sees(t, ctx, "Enrol this browser for bench 1")
	picture(t, ctx, "enrol")
	run(t, ctx, chromedp.SendKeys(`[name=own_password]`, password+enter))
	sees(t, ctx, "This browser stands at bench 1 now")
	run(t, ctx, chromedp.Navigate(at+"/enrolled"))
	sees(t, ctx, "this browser")
	picture(t, ctx, "enrolled")
	run(t, ctx, chromedp.Navigate(at+"/pin"))
	sees(t, ctx, "Your PIN")
	picture(t, ctx, "pin")
	run(t, ctx, chromedp.Click(`.who button`))

	sees(t, ctx, "At bench 1: badge and PIN")
	picture(t, ctx, "badge")
	run(t, ctx, chromedp.SendKeys(`[name=badge]`, "B:B-7"+enter)) // as a scanner types it
	field, err := chromedp.Run(ctx, chromedp.Evaluate[string](`document.activeElement.name`))
	if err != nil || field != "pin" {
		t.Errorf("got the field %q after the badge, %v, want pin", field, err)
	}
	run(t, ctx, chromedp.SendKeys(`[name=pin]`, pin+enter))
	sees(t, ctx, "Bo Lind")
	run(t, ctx, chromedp.Navigate(at+"/bench/1"))
	for range 4 {
		w.pull(t, 30, 40)
	}
	sees(t, ctx, "Crankshaft end float")
	run(t, ctx, chromedp.SendKeys(`[name=value]`, "0.5 mm"+enter))
	sees(t, ctx, "not accepted, said by Bo Lind")

	run(t, ctx, chromedp.Click(`.hand-over summary`))
	picture(t, ctx, "hand-over")
	run(t, ctx, chromedp.SendKeys(`.hand-over [name=badge]`, "B-8"+enter), chromedp.SendKeys(`.hand-over [name=pin]`, pin+enter),
		chromedp.WaitNotPresent(`.hand-over[open]`)) // the page of before tells of it too
	sees(t, ctx, "in the hands of Cy Moor")
	committed(t, d) // or what the page says of it changes under the next click
	sees(t, ctx, "All readings are recorded")
	run(t, ctx, chromedp.Click(`.replies summary`), chromedp.SendKeys(`.replies [name=value]`, "0.12 mm"+enter))
	sees(t, ctx, "0.12 mm, said by Cy Moor; before: 0.5 mm")
	picture(t, ctx, "answered")

	admin.want(303, "", "POST", "/people", url.Values{"name": {"Cy Moor"}, "own_password": {password}})
	sees(t, ctx, "At bench 1: badge and PIN")
}
