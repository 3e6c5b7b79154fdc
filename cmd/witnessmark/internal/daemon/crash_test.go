package daemon

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/store/cluster"
)

// step is one thing that happens in the shop: either a pull, or an action that adds so many entries.
type step struct {
	torque  int64
	entries uint64
	act     func(context.Context, *control.Client) error
}

// story is a joint with a weak pull, a missed and a repeated fastener, a check, a correction, and the closing; then it is
// begun afresh, left and taken up again, with a new bolt.
func story() []step {
	const by = "Ada Holt"
	pull := func(torque int64) step { return step{torque: torque, entries: 1} }
	act := func(entries uint64, do func(context.Context, *control.Client) error) step {
		return step{entries: entries, act: do}
	}
	begin := func(afresh bool) step {
		return act(1, func(ctx context.Context, c *control.Client) error {
			builds, err := c.Builds(ctx)
			if err == nil {
				_, err = c.StartJoint(ctx, "1", control.Start{Build: builds[0].ID, Joint: "caps", Afresh: afresh, Person: by})
			}
			return err
		})
	}
	closed := act(1, func(ctx context.Context, c *control.Client) error {
		_, err := c.CloseJoint(ctx, "1", control.Close{Person: by})
		return err
	})
	return []step{
		act(1, func(ctx context.Context, c *control.Client) error {
			_, err := c.AddProcedure(ctx, control.NewProcedure{File: "caps.yaml", Text: caps})
			return err
		}),
		act(2, func(ctx context.Context, c *control.Client) error { // the person is new
			_, err := c.OpenBuild(ctx, control.NewBuild{Engine: "E-4711", Family: "TB-7", WorkOrder: "W-12", Person: by})
			return err
		}),
		begin(false),
		pull(30), pull(30), pull(24), pull(31), pull(29),
		act(1, func(ctx context.Context, c *control.Client) error {
			_, err := c.Answer(ctx, "1", control.Answer{Check: "end-float", Value: "0.12 mm", Yes: true, Person: by})
			return err
		}),
		pull(60), pull(61), pull(60),
		act(1, func(ctx context.Context, c *control.Client) error {
			_, err := c.Name(ctx, "1", control.Name{Fastener: "4", Person: by})
			return err
		}),
		pull(59),
		act(1, func(ctx context.Context, c *control.Client) error {
			_, err := c.FitAdapter(ctx, "1", control.Fit{Adapter: "cf-22", WrenchLength: "400 mm", Extension: "60 mm", Angle: "30°", Person: by})
			return err
		}),
		pull(52),
		closed,
		pull(80), // with no joint on the bench
		begin(true), pull(30), closed, begin(false),
		act(1, func(ctx context.Context, c *control.Client) error {
			_, err := c.Renew(ctx, "1", control.Renew{Fasteners: []string{"2"}, Reason: "thread damaged", Person: by})
			return err
		}),
		pull(30),
	}
}

// disturbance is done to the program at a step.
type disturbance int

const (
	none         disturbance = iota
	killWith                 // killed while the step is under way
	killAfter                // killed when the step has been acknowledged
	killUntold               // killed when the step is on disk and before it is acknowledged
	databaseAway             // PostgreSQL ends before the step, and the daemon starts it again
)

// TestDaemon_CrashEndsInTheSameState plays the same story twice on real disks and a real PostgreSQL, once in peace and
// once with the database ended in the middle and the daemon killed before, while and after things were acknowledged.
func TestDaemon_CrashEndsInTheSameState(t *testing.T) {
	t.Parallel()
	var peace, trouble string
	t.Run("play", func(t *testing.T) {
		t.Run("in peace", func(t *testing.T) {
			t.Parallel()
			peace = play(t, nil)
		})
		t.Run("in trouble", func(t *testing.T) {
			t.Parallel()
			trouble = play(t, map[int]disturbance{1: killWith, 2: killAfter, 4: killUntold, 6: databaseAway, 7: killUntold,
				9: databaseAway, 11: databaseAway, 12: killWith, 14: killAfter, 16: killAfter, 17: killWith,
				18: killWith, 21: killUntold, 22: killUntold})
		})
	})
	if peace == trouble {
		return
	}
	a, b := strings.Split(peace, "\n"), strings.Split(trouble, "\n")
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			t.Fatalf("line %d differs\nin peace   %s\nin trouble %s", i+1, a[i], b[i])
		}
	}
	t.Fatalf("got %d rows in trouble, want the %d of peace", len(b), len(a))
}

// play goes through the story and gives the database's rows at the end, a line each.
func play(t *testing.T, trouble map[int]disturbance) string {
	data := filepath.Join(t.TempDir(), "data")
	if err := os.Mkdir(data, 0o700); err != nil {
		t.Fatal(err)
	}
	w, port := newWrench(t)
	c := control.NewClient(Folder(data).Socket())
	defer c.Close()
	p := launch(t, data, port)
	entries := uint64(1) // the wrench's declaration
	for i, s := range story() {
		switch trouble[i] {
		case databaseAway:
			endDatabase(t, p, data, entries)
		case killUntold:
			p.kill()
			p = launch(t, data, port, fmt.Sprintf("%s=%d", childDies, entries+s.entries))
		}
		p = do(t, p, c, w, s, entries, trouble[i])
		if entries += s.entries; trouble[i] == killAfter {
			p.kill()
			p = launch(t, data, port)
		}
	}
	p.position(entries)
	p.stop()
	return dump(t, data)
}

// do does a step once. Where the program is killed under it, the new program is asked whether the step was journaled:
// a wrench finds out by sending again, a person by looking.
func do(t *testing.T, p *program, c *control.Client, w *wrench, s step, before uint64, how disturbance) *program {
	t.Helper()
	over := make(chan error, 1)
	if s.act == nil {
		wait, err := w.Put(w.next(s.torque, 35))
		if err != nil {
			t.Fatal(err)
		}
		go func() { over <- wait(t.Context()) }()
	} else {
		go func() { over <- s.act(t.Context(), c) }()
	}
	if how != killWith && how != killUntold {
		if err := <-over; err != nil {
			t.Fatalf("%v: %s", err, p.log())
		}
		return p
	}
	if how == killWith {
		p.kill()
	} else {
		p.drain()
		_ = p.cmd.Wait() // it killed itself; that is no news
	}
	data, port := at(p)
	p = launch(t, data, port)
	if err := <-over; err == nil || s.act == nil {
		return p // a wrench has sent again meanwhile and was acknowledged
	}
	status, err := c.Status(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if status.Entries < before+s.entries {
		if err := s.act(t.Context(), c); err != nil {
			t.Fatal(err)
		}
	}
	return p
}

func at(p *program) (data, port string) {
	for _, kv := range p.cmd.Env {
		if v, ok := strings.CutPrefix(kv, childData+"="); ok {
			data = v
		}
		if v, ok := strings.CutPrefix(kv, childPort+"="); ok {
			port = v
		}
	}
	return data, port
}

// endDatabase ends the private server without a clean shutdown, once it has taken what came so far.
func endDatabase(t *testing.T, p *program, data string, entries uint64) {
	t.Helper()
	p.position(entries)
	killDatabase(t, data)
}

// killDatabase ends the private server as a power cut would.
func killDatabase(t *testing.T, data string) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(Folder(data).Postgres(), "postmaster.pid"))
	if err != nil {
		t.Fatal(err)
	}
	var pid int
	if _, err := fmt.Sscan(string(text), &pid); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Kill(pid, syscall.SIGQUIT); err != nil {
		t.Fatal(err)
	}
}

// dump gives every row of every table, except those that tell of the program's own starts: checkpoints are signed
// whenever a batch is, the epoch counts openings, and the migrations are stamped by the server's clock.
func dump(t *testing.T, data string) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	pg, err := cluster.Start(ctx, Folder(data).Postgres())
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := pg.Stop(ctx); err != nil {
			t.Error(err)
		}
	}()
	conn, err := pgx.Connect(ctx, pg.ConnString())
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := conn.Close(ctx); err != nil {
			t.Error(err)
		}
	}()
	tables := column(t, conn, `select table_name::text from information_schema.tables where table_schema = 'witnessmark'
		and table_type = 'BASE TABLE' and table_name not like '%checkpoint%' and table_name <> 'schema_version' order by 1`)
	if len(tables) < 10 {
		t.Fatalf("got the tables %q, want one for each kind of event and more", tables)
	}
	var all []string
	for _, table := range tables {
		name := pgx.Identifier{"witnessmark", table}.Sanitize()
		for _, row := range column(t, conn, `select (to_jsonb(r) - 'epoch')::text from `+name+` r order by 1`) {
			all = append(all, table+" "+row)
		}
	}
	return strings.Join(all, "\n")
}

func column(t *testing.T, conn *pgx.Conn, sql string) []string {
	t.Helper()
	rows, err := conn.Query(t.Context(), sql)
	if err != nil {
		t.Fatal(err)
	}
	list, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	return list
}
