package daemon

import (
	"strings"
	"testing"

	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/cmd/witnessmark/internal/sheet"
	"witnessmark/store"
	"witnessmark/store/cluster"
)

// TestDaemon_AJointTakenUpNextDay closes a joint half-way and stops the daemon; the next day another person goes on at
// another bench with another wrench, where a bolt is renewed.
func TestDaemon_AJointTakenUpNextDay(t *testing.T) {
	data := t.TempDir()
	first, port1 := newWrench(t)
	second, port2 := newWrench(t)
	file := strings.NewReplacer(
		`  - {id: "1", wrenches: [TW-01]}`, `  - {id: "1", wrenches: [TW-01]}`+"\n"+`  - {id: "2", wrenches: [TW-02]}`,
		"wrenches:\n  - {id: TW-01", "wrenches:\n  - {id: TW-02, port: \""+port2+"\", profile: semicolon-xor}\n  - {id: TW-01",
	).Replace(shopFile(port1))

	d := start(t, data, file)
	c := client(t, d)
	build := onBench(t, c)
	for _, pull := range [][2]int64{{30, 40}, {30, 41}, {30, 40}, {30, 41}, {60, 30}} {
		first.pull(t, pull[0], pull[1])
	}
	if _, err := c.Answer(t.Context(), "1", control.Answer{Check: "end-float", Value: "0.12 mm", Person: "Ada Holt"}); err != nil {
		t.Fatal(err)
	}
	if _, err := c.CloseJoint(t.Context(), "1", control.Close{Person: "Ada Holt"}); err != nil {
		t.Fatal(err)
	}
	stopDaemon(t, d)

	d = start(t, data, file)
	c = client(t, d)
	v, err := c.StartJoint(t.Context(), "2", control.Start{Build: build.ID, Joint: "caps", Person: "Bo Lind"})
	if err != nil || !v.Resumed || v.Left != 3 || v.Next.Fastener != "2" || v.Next.Stage != "seat" || v.Ask != nil {
		t.Fatalf("got %+v, %v, want the joint as it was left: seat 2 next, three steps open, its check answered", v, err)
	}
	_, err = c.Renew(t.Context(), "2", control.Renew{Fasteners: []string{"1", "9"}, Person: "Bo Lind"})
	if last, _ := d.View("2"); err == nil || last.Left != 3 {
		t.Errorf("got %v with %d steps open, want both bolts refused for the one that is not there", err, last.Left)
	}
	if _, err := c.Renew(t.Context(), "2", control.Renew{Person: "Bo Lind"}); err == nil || !strings.Contains(err.Error(), "which fasteners") {
		t.Errorf("got %v, want the fasteners asked for", err)
	}
	v, err = c.Renew(t.Context(), "2", control.Renew{Fasteners: []string{"1"}, Reason: " thread damaged ", Person: "Bo Lind"})
	if err != nil || v.Left != 5 || v.Next.Fastener != "1" || v.Next.Stage != "snug" {
		t.Fatalf("got %+v, %v, want both stages of fastener 1 open again", v, err)
	}
	for _, pull := range [][2]int64{{30, 40}, {60, 30}, {60, 31}, {60, 30}, {60, 31}} {
		second.pull(t, pull[0], pull[1])
	}
	if err := d.live.await(t.Context(), d.life, d.journal.Last()); err != nil {
		t.Fatal(err)
	}
	if v, err = c.View(t.Context(), "2"); err != nil || !v.Summary.Complete || len(v.Summary.Attention) != 0 {
		t.Errorf("got %+v, %v, want it complete with nothing to say", v.Summary, err)
	}
	if _, err := c.CloseJoint(t.Context(), "2", control.Close{Person: "Bo Lind"}); err != nil {
		t.Fatal(err)
	}
	_, err = c.StartJoint(t.Context(), "1", control.Start{Build: build.ID, Joint: "caps", Person: "Bo Lind"})
	if err == nil || !strings.Contains(err.Error(), "--afresh") {
		t.Errorf("got %v for a joint that is complete, want --afresh named", err)
	}
	committed(t, d)
	stopDaemon(t, d)

	j := sheetOf(t, data).Builds[0].Joints
	if len(j) != 1 || !j[0].Complete || len(j[0].Runs) != 2 || j[0].Runs[0].By != "Ada Holt" || j[0].Runs[1].By != "Bo Lind" || j[0].Runs[1].Bench != "2" {
		t.Fatalf("got %+v, want one complete joint with both runs and both persons", j)
	}
	if n := j[0].Renewals; len(n) != 1 || n[0].Fastener != "1" || n[0].By != "Bo Lind" || n[0].Reason != "thread damaged" || n[0].LedgerIndex == 0 {
		t.Errorf("got %+v, want the new bolt with its person, reason and leaf", n)
	}
	if snug := j[0].Steps[0]; len(snug.Replaced) != 1 || len(snug.Marks) != 1 || snug.Replaced[0].Wrench != "TW-01" || snug.Marks[0].Wrench != "TW-02" {
		t.Errorf("got %+v, want the old bolt's reading beside the new one's", snug)
	}
}

// sheetOf reads the history of the engine of onBench from the database of a daemon that has stopped.
func sheetOf(t *testing.T, data string) *sheet.Engine {
	t.Helper()
	pg, err := cluster.Start(t.Context(), Folder(data).Postgres())
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := pg.Stop(t.Context()); err != nil {
			t.Error(err)
		}
	}()
	r, err := store.OpenReader(t.Context(), pg.ConnString(), "")
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
	return e
}
