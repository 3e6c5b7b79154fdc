package daemon

import (
	"strings"
	"testing"
	"time"

	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/store"
)

// A name that is forgotten is gone from the database, the ledger holds, and the daemon comes up with it gone.
func TestDaemon_ForgetsAName(t *testing.T) {
	_, port := newWrench(t)
	data := t.TempDir()
	d := start(t, data, shopFile(port))
	c := client(t, d)
	b := onBench(t, c)
	ctx := t.Context()
	if _, err := c.CloseJoint(ctx, "1", control.Close{Person: "Bo Lind"}); err != nil {
		t.Fatal(err)
	}
	who := ""
	for _, in := range []struct {
		ask  control.Forget
		want string
	}{
		{control.Forget{Who: "Nobody Known", Reason: "over", Person: "Bo Lind"}, "check the spelling"},
		{control.Forget{Who: "Ada Holt", Person: "Bo Lind"}, "give one"},
		{control.Forget{Who: "Ada Holt", Reason: "over"}, "--by"},
		{control.Forget{Who: "Ada Holt", Reason: "over", Person: "Bo Lind"}, ""},
		{control.Forget{Who: "Ada Holt", Reason: "over", Person: "Bo Lind"}, "check the spelling"},
	} {
		done, err := c.Forget(ctx, in.ask)
		if (err == nil) != (in.want == "") || err != nil && !strings.Contains(err.Error(), in.want) {
			t.Errorf("%+v: got %v, want %q", in.ask, err, in.want)
		}
		who += done.Person
	}
	found := control.Finding{Wrench: "TW-01", Certificate: "K-9", Found: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC), Points: "2.50 %@ 40 Nm", Person: "Bo Lind"}
	if _, err := c.RecordFinding(ctx, found); err != nil {
		t.Errorf("a finding: %v", err)
	}
	found.Points = "much"
	if _, err := c.RecordFinding(ctx, found); err == nil {
		t.Error("a finding without a number: got no error")
	}
	committed(t, d)
	url, err := d.base.address(ctx)
	if err != nil {
		t.Fatal(err)
	}
	r, err := store.OpenReader(ctx, url, "")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Close() })
	if _, err := r.Verify(ctx, d.key.Public, nil, nil); err != nil {
		t.Errorf("verify: %v", err)
	}
	h, err := r.History(ctx, b.Engine)
	if err != nil || h.Builds[0].Technician != "" || who == "" {
		t.Errorf("got %q, %v, want no name", h.Builds[0].Technician, err)
	}
	if f, err := r.Found(ctx, "TW-01"); err != nil || len(f) != 1 || f[0].Points != "2.5 %@40 N·m" {
		t.Errorf("got %+v, %v, want the finding as it is written", f, err)
	}
	stopDaemon(t, d)
	again := start(t, data, shopFile(port))
	if _, err := client(t, again).Forget(ctx, control.Forget{Who: who, Reason: "over", Person: "Bo Lind"}); err == nil || !strings.Contains(err.Error(), "is blanked") {
		t.Errorf("after a restart: got %v, want the name still blanked", err)
	}
}
