package daemon

import (
	"context"
	"errors"
	"fmt"
	"net"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
)

// gun is a barcode scanner behind a serial-to-network adapter.
type gun struct {
	t    *testing.T
	l    net.Listener
	conn net.Conn
}

func newGun(t *testing.T) *gun {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	g := &gun{t: t, l: l}
	t.Cleanup(func() {
		l.Close()
		if g.conn != nil {
			g.conn.Close()
		}
	})
	return g
}

func (g *gun) port() string { return "tcp://" + g.l.Addr().String() }

// scan reads a label, once the daemon has come.
func (g *gun) scan(text string) {
	g.t.Helper()
	if g.conn == nil {
		var err error
		if g.conn, err = g.l.Accept(); err != nil {
			g.t.Fatal(err)
		}
	}
	if _, err := g.conn.Write([]byte(text + "\r")); err != nil {
		g.t.Fatal(err)
	}
}

// withGun is shopFile with a scanner at the bench.
func withGun(wrench, scanner string) string {
	return shopFile(wrench) + `scanners:
  - id: S-1
    bench: "1"
    port: ` + scanner + `
    labels:
      engine: [{prefix: "E:"}, {check: vin}]
      work_order: {prefix: "W:"}
      badge: {prefix: "B:"}
      joint: {prefix: "J-", check: code39}
      fastener: {prefix: "F:"}
`
}

// heard waits for the update of a kind and gives it.
func heard(t *testing.T, updates <-chan control.Update, kind string) control.Update {
	t.Helper()
	deadline := time.After(time.Minute)
	for {
		select {
		case u, ok := <-updates:
			if !ok {
				t.Fatal("the watch was closed")
			}
			if u.Kind == kind {
				return u
			}
		case <-deadline:
			t.Fatalf("no %s came", kind)
		}
	}
}

func TestDaemon_AJointByScansAlone(t *testing.T) {
	w, port := newWrench(t)
	g := newGun(t)
	data := t.TempDir()
	d := start(t, data, withGun(port, g.port()))
	c := client(t, d)
	ctx := t.Context()
	if _, err := c.AddProcedure(ctx, control.NewProcedure{File: "caps.yaml", Text: caps}); err != nil {
		t.Fatal(err)
	}
	updates, stop, err := d.Watch("1")
	if err != nil {
		t.Fatal(err)
	}
	defer stop()
	// scan reads a label and says what came of it: the refusal, or what was scanned.
	scan := func(text string) string {
		t.Helper()
		g.scan(text)
		u := heard(t, updates, "scan")
		return strings.TrimSpace(fmt.Sprintf("%s %s %s", u.Scan.Label, u.Scan.Value, u.Refused))
	}
	want := func(got, want string) {
		t.Helper()
		if !strings.Contains(got, want) {
			t.Errorf("got %q, want %q in it", got, want)
		}
	}
	want(scan("B:7"), "badge 7 this badge belongs to nobody")
	want(scan("E:E-4711"), "scan your badge first")
	want(scan("?"), "no kind of label")
	for _, in := range []control.NewBadge{{Badge: "7", To: "Ada Holt", Person: "Bo Lind"}, {Badge: "7", To: "Ada  Holt ", Person: "Bo Lind"}} {
		if b, err := c.GiveBadge(ctx, in); err != nil || b != (control.Badge{Badge: "7", Person: "Ada Holt"}) {
			t.Fatalf("got %+v, %v, want the badge given", b, err)
		}
	}
	want(scan("B:7"), "badge")
	want(scan("1M8GDM9AXKP042788"), "engine 1M8GDM9AXKP042788")
	want(scan("1M8GDM9A0KP042788"), "check digit of the VIN is wrong")
	want(scan("W:W-12"), "work order W-12")
	if u := heard(t, updates, "build"); u.View.Build == 0 || u.View.Run != 0 || u.View.Person != "Ada Holt" {
		t.Errorf("got %+v, want the watchers told of the build at their bench", u.View)
	}
	want(scan("J-CAPS1"), "joint CAPS") // by hand: the characters of J-CAPS come to 130, which leaves 1
	run := heard(t, updates, "joint start").View
	want(scan("F:9"), `has no fastener "9"`)
	want(scan("F:3"), "fastener 3")
	w.pull(t, 30, 40)
	if u := heard(t, updates, "reading"); u.Mark[0].Fastener != "3" || u.Mark[0].LocatedBy != "scan" || u.View.Scanned != "" {
		t.Errorf("got %+v, want fastener 3 located by scan", u.Mark)
	}
	t.Run("a person who is signed in need not be named in a command", func(t *testing.T) {
		if _, err := c.Name(ctx, "1", control.Name{Fastener: "3"}); err != nil {
			t.Errorf("got %v, want it taken", err)
		}
		scan("?")
		if _, err := c.GiveBadge(ctx, control.NewBadge{Badge: "7", Person: "Bo Lind"}); err != nil {
			t.Fatal(err)
		}
		_, err := c.CloseJoint(ctx, "1", control.Close{})
		var refused *control.Error
		if !errors.As(err, &refused) || refused.Status != 400 || !strings.Contains(err.Error(), "--by") {
			t.Errorf("got %v, want to be told to give a name: nobody is signed in any more", err)
		}
	})
	t.Run("all of it is in the database, with the person", func(t *testing.T) {
		committed(t, d)
		inDatabase(t, d, run.Run)
	})
	t.Run("the figures count it", func(t *testing.T) {
		text := metricsOf(t, d)
		for _, line := range []string{`witnessmark_scans_total{kind="badge",scanner="S-1"} 2`, `witnessmark_scans_total{kind="engine",scanner="S-1"} 2`,
			`witnessmark_scans_total{kind="fastener",scanner="S-1"} 2`, `witnessmark_scans_total{kind="not understood",scanner="S-1"} 3`,
			`witnessmark_scanner_up{scanner="S-1"} 1`, `witnessmark_scanner_last_seen_timestamp_seconds{scanner="S-1"}`} {
			want(text, line)
		}
		list, err := c.Scanners(ctx)
		if err != nil || len(list) != 1 || !list[0].Up || list[0].Refused != 3 || list[0].LastSeen == nil || list[0].Bench != "1" {
			t.Errorf("got %+v, %v, want the scanner with what it did", list, err)
		}
	})
	t.Run("after a restart everything is as it was", func(t *testing.T) {
		before, err := d.View("1")
		if err != nil {
			t.Fatal(err)
		}
		stopDaemon(t, d)
		again := start(t, data, withGun(port, g.port()))
		var replayed bench.View
		again.live.look(func(s *bench.Shop) { replayed = s.View("1") })
		if !reflect.DeepEqual(before, replayed) {
			t.Errorf("got %+v\nwant %+v", replayed, before)
		}
		if b := again.Badges(); len(b) != 0 {
			t.Errorf("got %+v, want the badge taken back", b)
		}
	})
}

// inDatabase looks at the rows as a stranger to this program would.
func inDatabase(t *testing.T, d *Daemon, run uint64) {
	t.Helper()
	url, err := d.base.address(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	var got []string
	rows, err := conn.Query(t.Context(), `SELECT concat_ws(' ', m.fastener, m.located_by, p.name) FROM witnessmark.mark m
		JOIN witnessmark.scan s ON s.shop = m.shop AND s.run = m.run AND s.label = 'fastener' AND s.refused = '' AND s.value = m.fastener
		JOIN witnessmark.person p ON p.shop = s.shop AND p.person = s.person WHERE m.run = $1 AND m.no = 1`, run)
	if err == nil {
		got, err = pgx.CollectRows(rows, pgx.RowTo[string])
	}
	if err != nil || !slices.Equal(got, []string{"3 scan Ada Holt"}) {
		t.Errorf("got %q, %v, want fastener 3 by scan of Ada Holt", got, err)
	}
	rows, err = conn.Query(t.Context(), `SELECT concat_ws(' ', p.name, b.engine, b.work_order, j.joint, q.name) FROM witnessmark.build b
		JOIN witnessmark.person p ON p.person = b.person JOIN witnessmark.joint_start j ON j.build = b.seq
		JOIN witnessmark.person q ON q.person = j.person`)
	if err == nil {
		got, err = pgx.CollectRows(rows, pgx.RowTo[string])
	}
	if err != nil || !slices.Equal(got, []string{"Ada Holt 1M8GDM9AXKP042788 W-12 caps Ada Holt"}) {
		t.Errorf("got %q, %v, want the build and the joint by the person who was signed in", got, err)
	}
}

func TestDaemon_ALabelOrItsScannerNamesTheFamily(t *testing.T) {
	_, port := newWrench(t)
	g := newGun(t)
	file := strings.Replace(withGun(port, g.port()), `engine: [`, `engine: [{prefix: "H:", family: TB-9}, `, 1)
	file = strings.Replace(file, "    labels:", "    family: TB-7\n    labels:", 1)
	d := start(t, t.TempDir(), strings.Replace(file, "listen:", "database: postgres://witnessmark@127.0.0.1:1/none\nlisten:", 1))
	c := client(t, d)
	for _, family := range []string{"TB-8", "TB-7", "TB-9"} {
		if _, err := c.AddProcedure(t.Context(), control.NewProcedure{File: family, Text: strings.Replace(caps, "TB-7", family, 1)}); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := c.GiveBadge(t.Context(), control.NewBadge{Badge: "7", To: "Ada Holt", Person: "Ada Holt"}); err != nil {
		t.Fatal(err)
	}
	updates, stop, err := d.Watch("1")
	if err != nil {
		t.Fatal(err)
	}
	defer stop()
	var got []string
	for _, text := range []string{"B:7", "E:1", "W:1", "H:2", "W:2"} {
		g.scan(text)
		if u := heard(t, updates, "scan"); u.Refused != "" {
			t.Fatalf("%s: refused: %s", text, u.Refused)
		}
	}
	heard(t, updates, "build")
	for _, b := range d.Builds() {
		got = append(got, b.Engine+" "+b.Family)
	}
	if want := []string{"1 TB-7", "2 TB-9"}; !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}
