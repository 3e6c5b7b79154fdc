package daemon

import (
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/cmd/wrenchsim/sim"
	"witnessmark/device"
	"witnessmark/device/profile"
	"witnessmark/device/unit"
)

// caps is a joint of four bolts in two stages with a check before the second.
const caps = `format: witnessmark/procedure/1
family: TB-7
revision: "1"
title: Short block
source: invented for this test
decision: simple
joints:
  - id: caps
    title: Bearing caps
    criticality: B
    round: stage
    order: listed
    fasteners:
      - {id: "1", at: [0, 0]}
      - {id: "2", at: [80, 0]}
      - {id: "3", at: [0, 90]}
      - {id: "4", at: [80, 90]}
    checks:
      - {id: end-float, ask: Crankshaft end float, accept: 0.07..0.23 mm, after: snug}
    stages:
      - {id: snug, tighten_to: 30 N·m, accept: ±10 %}
      - {id: seat, tighten_to: 60 N·m, accept: 57..63 N·m}
`

// shopFile is a configuration of one bench with a wrench at each of the given ports.
func shopFile(ports ...string) string {
	var ids, wrenches []string
	for i, port := range ports {
		id := fmt.Sprintf("TW-%02d", i+1)
		ids = append(ids, id)
		wrenches = append(wrenches, `  - {id: `+id+`, port: "`+port+`", profile: semicolon-xor, calibration: {certificate: C-1, done: 2026-01-17, due: 2027-01-17, range: 10..200 N·m}}
`)
	}
	return `format: witnessmark/config/1
shop: {id: north, name: North engine shop}
listen: 127.0.0.1:0
benches:
  - {id: "1", wrenches: [` + strings.Join(ids, ", ") + `]}
wrenches:
` + strings.Join(wrenches, "")
}

// epoch is when time begins in these tests, inside the wrench's calibration.
var epoch = time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)

// options make a daemon whose times and ids depend on the journal alone: a second for each entry. So a daemon that was
// killed goes on with the times that an undisturbed one would have given.
func options(data, file string, log io.Writer) (Options, func(*Daemon), error) {
	cfg, err := config.Parse("test.yaml", []byte(file))
	var d *Daemon
	var at, more uint64 // the entry of the newest id, and how many ids it has
	next := func() uint64 {
		if d == nil || d.journal == nil {
			return 1
		}
		return d.journal.Last() + 1
	}
	return Options{
		Config: cfg, Data: data, Version: "test", Log: zerolog.New(log).With().Timestamp().Logger(),
		Clock: func() time.Time { return epoch.Add(time.Duration(next()) * time.Second) },
		NewID: func() string {
			if n := next(); n != at {
				at, more = n, 0
			}
			more++
			return fmt.Sprintf("%031x%x", 0xabc000+at, more)
		},
	}, func(it *Daemon) { d = it }, err
}

// start runs a daemon in this process until the test ends.
func start(t testing.TB, data, file string) *Daemon {
	t.Helper()
	return startTelling(t, data, file, t.Output())
}

// startTelling is start with a log to look at, and with what a test wants other than it is.
func startTelling(t testing.TB, data, file string, log io.Writer, other ...func(*Options)) *Daemon {
	t.Helper()
	d := made(t, data, file, log, other...)
	if err := d.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { stopDaemon(t, d) })
	return d
}

// startError is what keeps a daemon from starting.
func startError(t *testing.T, data, file string) error {
	t.Helper()
	d := made(t, data, file, t.Output())
	err := d.Start(t.Context())
	if err == nil {
		stopDaemon(t, d)
	}
	return err
}

func made(t testing.TB, data, file string, log io.Writer, other ...func(*Options)) *Daemon {
	t.Helper()
	o, know, err := options(data, file, zerolog.SyncWriter(log))
	if err != nil {
		t.Fatal(err)
	}
	for _, change := range other {
		change(&o)
	}
	d, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	know(d)
	return d
}

func stopDaemon(t testing.TB, d *Daemon) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	if err := d.Stop(ctx); err != nil {
		t.Errorf("stop: %v", err)
	}
}

// wrench is a simulated wrench that serves TCP; its port is where a daemon finds it.
type wrench struct {
	*sim.Wrench
	id    string
	count int64
}

func newWrench(t testing.TB) (*wrench, string) {
	t.Helper()
	return wrenchNamed(t, "TW-01")
}

func wrenchNamed(t testing.TB, id string) (*wrench, string) {
	t.Helper()
	line, err := sim.Listen("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	return wrenchOn(t, line, id), "tcp://" + line.Addr()
}

// newSerialWrench is one on a pseudo-terminal.
func newSerialWrench(t testing.TB) (*wrench, string) {
	t.Helper()
	port := filepath.Join(t.TempDir(), "wrench")
	line, err := sim.Pty(port)
	if err != nil {
		t.Fatal(err)
	}
	return wrenchOn(t, line, "TW-01"), port
}

func wrenchOn(t testing.TB, line sim.Line, id string) *wrench {
	t.Helper()
	form, err := profile.Builtin("semicolon-xor")
	if err != nil {
		t.Fatal(err)
	}
	w := sim.New(sim.Options{Wrench: id, Form: form, Line: line, Clock: func() time.Time { return epoch }, Resend: 200 * time.Millisecond})
	t.Cleanup(func() {
		if err := w.Close(); err != nil {
			t.Error(err)
		}
	})
	if err := w.Plug(t.Context()); err != nil {
		t.Fatal(err)
	}
	return &wrench{Wrench: w, id: id}
}

// next is the wrench's next reading of a torque in N·m and an angle in degrees.
func (w *wrench) next(torque, angle int64) device.Reading {
	w.count++
	n, a := w.count, unit.Angle(angle)*unit.Degree
	return device.Reading{Wrench: w.id, Torque: unit.Torque(torque) * unit.NewtonMetre, TorqueText: fmt.Sprintf("%d.0", torque),
		Unit: unit.Nm, Angle: &a, Direction: device.Tighten, Counter: &n}
}

// pull sends a reading and returns when it was acknowledged.
func (w *wrench) pull(t testing.TB, torque, angle int64) {
	t.Helper()
	if err := w.Send(t.Context(), w.next(torque, angle)); err != nil {
		t.Fatal(err)
	}
}

// onBench puts the joint caps of a new build on bench 1.
func onBench(t testing.TB, c *control.Client) control.Build {
	t.Helper()
	ctx := t.Context()
	addProcedure(t, c)
	b, err := c.OpenBuild(ctx, control.NewBuild{Engine: "E-4711", Family: "TB-7", WorkOrder: "W-12", Unit: "U-3", Person: "Ada Holt"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := c.StartJoint(ctx, "1", control.Start{Build: b.ID, Joint: "caps", Person: "Ada Holt"}); err != nil {
		t.Fatal(err)
	}
	return b
}

func addProcedure(t testing.TB, c *control.Client) {
	t.Helper()
	if _, err := c.AddProcedure(t.Context(), control.NewProcedure{File: "caps.yaml", Text: caps}); err != nil {
		t.Fatal(err)
	}
}

// freePort is one at which nothing listens now.
func freePort(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	_, port, err := net.SplitHostPort(l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	return port
}

func client(t testing.TB, d *Daemon) *control.Client {
	c := control.NewClient(d.Socket())
	t.Cleanup(c.Close)
	return c
}

// get fetches a public page.
func get(t *testing.T, d *Daemon, path string) (int, string) {
	t.Helper()
	return fetch(t, d.Addr(), path)
}

func fetch(t *testing.T, addr, path string) (int, string) {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, "http://"+addr+path, nil)
	if err != nil {
		t.Fatal(err)
	}
	resp, err := (&http.Transport{DisableKeepAlives: true}).RoundTrip(req)
	if err != nil {
		t.Fatal(err)
	}
	body, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	if err := resp.Body.Close(); err != nil {
		t.Fatal(err)
	}
	return resp.StatusCode, string(body)
}

// committed waits until everything journaled is in the database.
func committed(t testing.TB, d *Daemon) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	for {
		at, moved := d.writer.look()
		if at.position >= d.journal.Last() {
			return
		}
		select {
		case <-moved:
		case <-ctx.Done():
			t.Fatalf("the database is at %d of %d: %v", at.position, d.journal.Last(), at.trouble)
		}
	}
}

// marksOf lists what was first said about each reading, as "stage fastener verdict flags".
func marksOf(updates []control.Update) []string {
	var said []string
	for _, u := range updates {
		for _, m := range u.Mark {
			said = append(said, strings.TrimSpace(fmt.Sprintf("%s %s %s %s", m.Stage, m.Fastener, m.Verdict, strings.Join(m.Flags, ","))))
		}
	}
	return said
}
