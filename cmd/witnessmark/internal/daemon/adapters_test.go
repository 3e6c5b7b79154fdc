package daemon

import (
	"testing"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/device/unit"
	"witnessmark/store"
)

// US Army TM 9-254, figures 4-5 and 4-6: with a lever of 12 and an adapter of 2 inches, 60 shown are 70 at the fastener.
func TestDaemon_AdapterCorrectsAndBothAreKept(t *testing.T) {
	w, port := newWrench(t)
	d := start(t, t.TempDir(), shopFile(port))
	c := client(t, d)
	onBench(t, c)
	updates, stop, err := d.Watch("1")
	if err != nil {
		t.Fatal(err)
	}
	defer stop()
	<-updates
	v, err := c.FitAdapter(t.Context(), "1", control.Fit{Adapter: "cf-22", WrenchLength: "12 in", Extension: "2 in", Person: "Ada Holt"})
	if err != nil || len(v.Fitted) != 1 || v.Fitted[0].Adapter != "cf-22" {
		t.Fatalf("got %+v, %v, want it fitted", v.Fitted, err)
	}
	if u := <-updates; u.Kind != (audit.AdapterFitted{}).Kind() || len(u.View.Fitted) != 1 {
		t.Errorf("got %+v, want whoever watches the bench told", u)
	}
	w.pull(t, 26, 40)
	if m := (<-updates).Mark[0]; m.Verdict != audit.Pass || m.Adapter != "cf-22" || m.Applied != 30_333_333 {
		t.Errorf("got %+v, want 26 N·m shown to be 30.3 at the fastener, and a pass", m)
	}
	committed(t, d)
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
	rd := h.Builds[0].Runs[0].Readings[0]
	if rd.Torque != 26*unit.NewtonMetre || rd.Marks[0].Applied != 30_333_333 || rd.Marks[0].Adapter != "cf-22" {
		t.Errorf("got %+v, want both torques in the record", rd)
	}
}
