package daemon

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// pressed presses a button twice, as fast as a hand does.
func pressed(t *testing.T, ctx context.Context, button string) {
	t.Helper()
	_, err := chromedp.Run(ctx, chromedp.Evaluate[bool](fmt.Sprintf("{ const b = document.querySelector(%q); b.click(); setTimeout(() => b.click(), 15); true }", button)))
	if err != nil {
		t.Fatal(err)
	}
}

// Two tabs at one bench, a double click, a database that goes away and comes back, and one that is killed: the page goes on,
// says what holds, and everything is there once.
func TestBrowser_TwoTabsAndTheDatabaseAway(t *testing.T) {
	one := browser(t)
	w, port := newSerialWrench(t)
	data := t.TempDir()
	d := start(t, data, shopFile(port))
	c := client(t, d)
	addProcedure(t, c)
	admin := newVisitor(t, d)
	admin.setUp("Ada Holt")
	at := "http://" + d.Addr()
	run(t, one, chromedp.Navigate(at+"/sign-in?next=/bench/1/start"), chromedp.SendKeys(`[name=name]`, "Ada Holt"), chromedp.SendKeys(`[name=password]`, password+enter))
	sees(t, one, "A new build")
	run(t, one, chromedp.SendKeys(`[name=engine]`, "E-4711"), chromedp.SendKeys(`[name=work_order]`, "W-12"))
	pressed(t, one, `button.big`)
	sees(t, one, "Bearing caps")
	pressed(t, one, `button[value=caps]`)
	sees(t, one, "8 of 8 steps left")
	if n := len(d.Builds()); n != 1 {
		t.Errorf("got %d builds, want one however often the button was pressed", n)
	}
	two, cancel := chromedp.NewContext(one)
	defer cancel()
	run(t, two, chromedp.Navigate(at+"/bench/1"))
	sees(t, two, "8 of 8 steps left")
	for range 4 {
		w.pull(t, 30, 40)
	}
	for _, tab := range []context.Context{one, two} {
		sees(t, tab, "Crankshaft end float")
		sees(t, tab, "All readings are recorded in the database")
	}

	run(t, one, chromedp.EmulateViewport(820, 1100))
	small, err := chromedp.Run(one, chromedp.Evaluate[string](`document.querySelectorAll("#bench details").forEach(d => { d.open = true; });
		[...document.querySelectorAll("#bench .touch, #bench .work .big")].filter(b => b.getBoundingClientRect().height < 96 / 2.54 * 4 - 1).map(b => b.outerHTML).join(" ")`))
	if err != nil || small != "" {
		t.Errorf("got %q, %v under four centimetres high on a tablet", small, err)
	}

	open := closeDatabase(t, d)
	run(t, one, chromedp.SendKeys(`[name=value]`, "0.12 mm"))
	pressed(t, one, `.ask + form button`)
	for _, tab := range []context.Context{one, two} {
		sees(t, tab, "Crankshaft end float: 0.12 mm, said by Ada Holt")
		sees(t, tab, "The database is away")
	}
	if _, err := chromedp.Run(two, chromedp.Evaluate[string](`document.querySelectorAll("#bench details").forEach(d => { d.open = true; }); ""`)); err != nil {
		t.Fatal(err)
	}
	w.pull(t, 60, 27)
	for _, tab := range []context.Context{one, two} {
		sees(t, tab, "3 of 8 steps left")
		sees(t, tab, "Received and safe on this machine; not in the database yet")
	}
	opened, err := chromedp.Run(two, chromedp.Evaluate[string](`[...document.querySelectorAll("#bench details[open] > summary")].map(s => s.textContent).join("; ")`))
	if err != nil || !strings.Contains(opened, "Answer again") || strings.Contains(opened, "another one") {
		t.Errorf("got %q, %v opened after a reading, want the answer still, and not the form about the reading before", opened, err)
	}
	picture(t, one, "database-away")
	open()
	for _, tab := range []context.Context{one, two} {
		sees(t, tab, "All readings are recorded in the database")
	}
	killDatabase(t, data)
	for range 3 {
		w.pull(t, 60, 27)
	}
	for _, tab := range []context.Context{one, two} {
		sees(t, tab, "Complete")
		sees(t, tab, "All readings are recorded in the database")
	}
	v, err := d.View("1")
	if err != nil || !v.Summary.Complete || len(v.Summary.Attention) != 0 {
		t.Errorf("got %+v, %v, want complete and nothing to look at", v.Summary, err)
	}
	admin.recordHolds()
}

// Whoever comes back after the weekend signs in again and stands where they were.
func TestBrowser_ASessionThatHasEnded(t *testing.T) {
	ctx := browser(t)
	w, port := newSerialWrench(t)
	clock := &ahead{}
	d := clock.start(t, t.TempDir(), shopFile(port))
	onBench(t, client(t, d))
	admin := newVisitor(t, d)
	admin.setUp("Ada Holt")
	run(t, ctx, chromedp.Navigate("http://"+d.Addr()+"/sign-in?next=/bench/1"), chromedp.SendKeys(`[name=name]`, "Ada Holt"), chromedp.SendKeys(`[name=password]`, password+enter))
	sees(t, ctx, "8 of 8 steps left")
	w.pull(t, 30, 40)
	sees(t, ctx, "7 of 8 steps left")  // what begins in the page has begun, and lengthens the session no more
	clock.by(2 * 365 * 24 * time.Hour) // a session ends by the time of day, and the daemon's clock in this test is not that
	sees(t, ctx, "Sign in")
	clock.by(0)
	run(t, ctx, chromedp.SendKeys(`[name=name]`, "Ada Holt"), chromedp.SendKeys(`[name=password]`, password+enter))
	sees(t, ctx, "7 of 8 steps left")
	where, err := chromedp.Run(ctx, chromedp.Evaluate[string]("location.pathname"))
	if err != nil || !strings.HasSuffix(where, "/bench/1") {
		t.Errorf("got %q, %v, want the bench again", where, err)
	}
}
