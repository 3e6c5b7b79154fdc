package daemon

import (
	"fmt"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"

	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/cmd/witnessmark/internal/sheet"
	"witnessmark/store"
)

// TestDaemon_EverythingThatIsAskedBesides goes through a joint with measured, scanned and confirmed checks and a
// verification round, with a wrench, a scanner and a database, and reads it back from there.
func TestDaemon_EverythingThatIsAskedBesides(t *testing.T) {
	w, port := newWrench(t)
	g := newGun(t)
	data := t.TempDir()
	file := strings.Replace(withGun(port, g.port()), `fastener: {prefix: "F:"}`, `fastener: {prefix: "F:"}`+"\n      lot: {prefix: \"L:\"}", 1)
	file = strings.Replace(file, "range: 10..200", "range: 2..200", 1)
	d := start(t, data, file)
	c := client(t, d)
	text, err := os.ReadFile("../../../../testdata/procedures/checks.yaml")
	if err != nil {
		t.Fatal(err)
	}
	ctx := t.Context()
	if _, err := c.AddProcedure(ctx, control.NewProcedure{File: "checks.yaml", Text: string(text)}); err != nil {
		t.Fatal(err)
	}
	b, err := c.OpenBuild(ctx, control.NewBuild{Engine: "E-4711", Family: "TB-9", WorkOrder: "W-12", Person: "Ada Holt"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := c.StartJoint(ctx, "1", control.Start{Build: b.ID, Joint: "main-caps", Person: "Ada Holt"}); err != nil {
		t.Fatal(err)
	}
	if _, err := c.GiveBadge(ctx, control.NewBadge{Badge: "7", To: "Bo Lind", Person: "Ada Holt"}); err != nil {
		t.Fatal(err)
	}
	answer := func(check, fastener, value string) {
		t.Helper()
		a := control.Answer{Check: check, Fastener: fastener, Yes: true, Value: value, Person: "Ada Holt"}
		if _, err := c.Answer(ctx, "1", a); err != nil {
			t.Fatal(err)
		}
	}
	order := []string{"1", "4", "3", "2"} // inside-out, across
	for _, id := range order {
		answer("length", id, "95.1 mm")
	}
	updates, stop, err := d.Watch("1")
	if err != nil {
		t.Fatal(err)
	}
	defer stop()
	pull := func(torque, angle int64, want string) {
		t.Helper()
		w.pull(t, torque, angle)
		m := heard(t, updates, "reading").Mark[0]
		if got := strings.TrimSpace(m.CheckID+m.Stage+" "+m.Fastener) + ": " + string(m.Verdict); got != want {
			t.Errorf("%d N·m %d°: got %q, want %q", torque, angle, got, want)
		}
	}
	g.scan("B:7")
	g.scan("L:S-7")
	if u := heard(t, updates, "check answer"); u.View.Ask != nil {
		t.Errorf("got %+v asked, want the lot answered by its label", u.View.Ask)
	}
	for i, id := range order {
		pull(30, 40+int64(i%2), "snug "+id+": pass")
	}
	pull(10, 180, "drag: high torque")
	pull(6, 180, "drag: pass")
	for i, id := range order {
		pull(60, 28+int64(i%2), "seat "+id+": pass")
	}
	answer("end-float", "", "0.11 mm")
	for i, id := range order {
		pull([]int64{64, 71, 62, 66}[i], 2+int64(i%2), "residual "+id+": pass")
	}
	answer("paint", "", "")
	committed(t, d)
	t.Run("the database tells all of it", func(t *testing.T) { toldBack(t, d) })
	t.Run("after a restart the bench is as it was", func(t *testing.T) {
		before, err := d.View("1")
		if err != nil || !before.Summary.Complete || len(before.Summary.Attention) != 0 {
			t.Errorf("got %+v, %v, want a complete joint", before.Summary, err)
		}
		stopDaemon(t, d)
		again := start(t, data, file)
		var replayed bench.View
		again.live.look(func(s *bench.Shop) { replayed = s.View("1") })
		if !reflect.DeepEqual(before, replayed) {
			t.Errorf("got %+v\nwant %+v", replayed, before)
		}
	})
}

// toldBack reads the joint from the database and lays it out as a sheet.
func toldBack(t *testing.T, d *Daemon) {
	url, err := d.base.address(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	r, err := store.OpenReader(t.Context(), url, "north")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	h, err := r.History(t.Context(), "E-4711")
	if err != nil {
		t.Fatal(err)
	}
	e, err := sheet.Of(h, "")
	if err != nil {
		t.Fatal(err)
	}
	j := e.Builds[0].Joints[0]
	var got []string
	index := int64(-1)
	for _, c := range j.Checks {
		if c.LedgerIndex <= index {
			t.Errorf("got leaf %d after %d, want the answers in their order", c.LedgerIndex, index)
		}
		index = c.LedgerIndex
		got = append(got, strings.TrimSpace(fmt.Sprintf("%s %s=%s %t %s%s", c.Check, c.Fastener, c.Answer, c.OK, c.By, c.Wrench)))
	}
	want := []string{"length 1=95.1 mm true Ada Holt", "length 4=95.1 mm true Ada Holt", "length 3=95.1 mm true Ada Holt", "length 2=95.1 mm true Ada Holt",
		"shell-lot =S-7 true Bo Lind", "drag =10.0 N·m false TW-01", "drag =6.0 N·m true TW-01", "end-float =0.11 mm true Ada Holt", "paint =yes true Ada Holt"}
	if !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if !j.Complete || j.ToVerify != 0 || len(j.Stray) != 0 || len(j.Findings) != 0 || j.Bolts != nil {
		t.Errorf("got %+v, want a complete joint with nothing to look at", j)
	}
}
