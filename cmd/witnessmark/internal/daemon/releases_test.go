package daemon

import (
	"errors"
	"strings"
	"testing"

	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/store"
)

// classA is the shop's procedure with a joint that asks for a second person.
var classA = strings.Replace(caps, "criticality: B", "criticality: A", 1)

func refusedWith(t *testing.T, err error, want string) {
	t.Helper()
	var e *control.Error
	if !errors.As(err, &e) || e.Status >= 500 || !strings.Contains(e.Sentence, want) {
		t.Errorf("got %v, want a refusal with %q", err, want)
	}
}

func TestDaemon_ReviewConcedeReleaseReopen(t *testing.T) {
	w, port := newWrench(t)
	d := start(t, t.TempDir(), shopFile(port))
	c := client(t, d)
	ctx := t.Context()
	if _, err := c.AddProcedure(ctx, control.NewProcedure{File: "caps.yaml", Text: classA}); err != nil {
		t.Fatal(err)
	}
	committed(t, d) // the database is up
	b, err := c.OpenBuild(ctx, control.NewBuild{Engine: "E-4711", Family: "TB-7", WorkOrder: "W-12", Person: "Ada Holt"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := c.StartJoint(ctx, "1", control.Start{Build: b.ID, Joint: "caps", Person: "Ada Holt"}); err != nil {
		t.Fatal(err)
	}
	for i := range int64(4) {
		w.pull(t, 30, 25+i)
	}
	if _, err := c.Answer(ctx, "1", control.Answer{Check: "end-float", Value: "0.12 mm", Yes: true, Person: "Ada Holt"}); err != nil {
		t.Fatal(err)
	}
	for i := range int64(3) {
		w.pull(t, 60, 25+i)
	}
	w.pull(t, 66, 30) // too much
	if _, err := c.CloseJoint(ctx, "1", control.Close{Person: "Ada Holt"}); err != nil {
		t.Fatal(err)
	}
	const failed = "step:caps/seat/4"
	rv, err := c.Review(ctx, b.ID)
	if err != nil || len(rv.Blocking()) != 1 || rv.Findings[0].ID != failed {
		t.Fatalf("got %+v, %v, want the one step that failed", rv, err)
	}
	_, err = c.Release(ctx, b.ID, control.Release{Person: "Quinn Ray"})
	refusedWith(t, err, "joint caps, stage seat, fastener 4: high torque")
	before := d.journal.Last()
	_, err = c.Concede(ctx, b.ID, control.Concede{Finding: failed, Reason: "below the yield", Person: "Quinn Ray"})
	refusedWith(t, err, "needs a second person")
	_, err = c.Concede(ctx, b.ID, control.Concede{Finding: failed, Reason: "below the yield", Person: "Quinn Ray", Second: "quinn  ray"})
	refusedWith(t, err, "must be another one")
	if d.journal.Last() != before {
		t.Errorf("got %d new entries of what was refused, want none", d.journal.Last()-before)
	}
	rv, err = c.Concede(ctx, b.ID, control.Concede{Finding: failed, Reason: "below the yield", Person: "Quinn Ray", Second: "Rosa Lind"})
	if err != nil || len(rv.Blocking()) != 0 || rv.Findings[0].Conceded == nil || rv.Findings[0].Conceded.Seconded != "Rosa Lind" {
		t.Fatalf("got %+v, %v, want it conceded by two", rv, err)
	}
	_, err = c.Release(ctx, b.ID, control.Release{Reviewed: before, Person: "Quinn Ray"})
	refusedWith(t, err, "review it again")
	rv, err = c.Release(ctx, b.ID, control.Release{Person: "Quinn Ray"})
	if err != nil || rv.Standing != bench.Released {
		t.Fatalf("got %+v, %v, want it released", rv, err)
	}
	_, err = c.StartJoint(ctx, "1", control.Start{Build: b.ID, Joint: "caps", Person: "Ada Holt"})
	refusedWith(t, err, "reopen it first")
	if rv, err = c.Reopen(ctx, b.ID, control.Reopen{Reason: "customer asks", Person: "Quinn Ray"}); err != nil || rv.Standing != bench.Reopened {
		t.Fatalf("got %+v, %v, want it reopened", rv, err)
	}
	last := rv.Findings[0]
	out, err := c.Correct(ctx, control.Correct{Reading: before - 1, Reason: "a test on the block", Person: "Ada Holt"})
	if err != nil || out.Build != b.ID || len(out.Marks) == 0 {
		t.Errorf("got %+v, %v, want the mark of the reading superseded (%+v)", out, err, last)
	}
	list, err := c.Builds(ctx)
	if err != nil || list[0].Standing != bench.Reopened {
		t.Errorf("got %+v, %v, want the list to show it", list, err)
	}
	committed(t, d)
	t.Run("the release signs a ledger that was there", func(t *testing.T) { signsWhatWas(t, d, b.Engine) })
}

// signsWhatWas wants the engine's one release to sign a ledger that was there before it.
func signsWhatWas(t *testing.T, d *Daemon, engine string) {
	url, err := d.base.address(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	r, err := store.OpenReader(t.Context(), url, "")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	h, err := r.History(t.Context(), engine)
	if err != nil || len(h.Builds[0].Releases) != 1 {
		t.Fatalf("got %+v, %v, want one release", h, err)
	}
	rel := h.Builds[0].Releases[0]
	if rel.Size < 1 || rel.Size > rel.Index || len(rel.Root) != 32 || rel.By != "Quinn Ray" {
		t.Errorf("got %+v, want the ledger of before, and who signed", rel)
	}
}

func TestDaemon_ACorrectionShowsAtTheBench(t *testing.T) {
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
	w.pull(t, 30, 25)
	v := (<-updates).View
	if _, err := c.Correct(t.Context(), control.Correct{Reading: v.Last.Seq, Fastener: "2", Reason: "seen", Person: "Ada Holt"}); err != nil {
		t.Fatal(err)
	}
	if u := <-updates; len(u.Mark) != 1 || u.Mark[0].Fastener != "2" || u.View.Next == nil || u.View.Last.Mark.Fastener != "2" {
		t.Errorf("got %+v, want the bench to show fastener 2", u)
	}
	_, err = c.Correct(t.Context(), control.Correct{Reading: v.Last.Seq, Fastener: "9", Reason: "seen", Person: "Ada Holt"})
	refusedWith(t, err, "no fastener")
}

func TestDaemon_ReleaseNeedsTheDatabase(t *testing.T) {
	away := strings.Replace(shopFile("tcp://127.0.0.1:1"), "listen:", "database: postgres://witnessmark@127.0.0.1:1/none\nlisten:", 1)
	d := start(t, t.TempDir(), away)
	c := client(t, d)
	b := onBench(t, c)
	ctx := t.Context()
	if _, err := c.CloseJoint(ctx, "1", control.Close{Person: "Ada Holt"}); err != nil {
		t.Fatal(err)
	}
	rv, err := c.Review(ctx, b.ID)
	for _, f := range rv.Findings {
		if err == nil {
			_, err = c.Concede(ctx, b.ID, control.Concede{Finding: f.ID, Reason: "a dry run", Person: "Quinn Ray"})
		}
	}
	if err != nil {
		t.Fatal(err)
	}
	for err == nil && d.writer.reach().trouble == errNotYet { // until it has found out that nobody is there
		_, moved := d.writer.look()
		<-moved
	}
	_, err = c.Release(ctx, b.ID, control.Release{Person: "Quinn Ray"})
	refusedWith(t, err, "wait until the database has caught up")
}
