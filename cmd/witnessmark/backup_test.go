package main

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"maps"
	"net/url"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"filippo.io/age"
	"github.com/jackc/pgx/v5"

	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/cmd/witnessmark/internal/daemon"
	"witnessmark/cmd/wrenchsim/sim"
	"witnessmark/device"
	"witnessmark/device/capture"
	"witnessmark/device/profile"
	"witnessmark/device/unit"
	"witnessmark/store/cluster"
)

// What a re-executed test binary is told by its environment.
const (
	childMain  = "WITNESSMARK_TEST_MAIN"  // set: be the program
	childLimit = "WITNESSMARK_TEST_LIMIT" // no file may grow beyond so many bytes, which stands for a full disk
)

// child runs the program in the place of the tests.
func child() {
	if limit, err := strconv.ParseUint(os.Getenv(childLimit), 10, 64); err == nil {
		signal.Ignore(syscall.SIGXFSZ)
		if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: limit, Max: limit}); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(exitInput)
		}
	}
	main()
}

// command is the program in a process of its own.
func command(t *testing.T, args ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self, args...)
	cmd.Env = append(os.Environ(), childMain+"=1")
	return cmd
}

// serving starts a daemon and returns when it takes readings.
func serving(t *testing.T, file, data string) *exec.Cmd {
	t.Helper()
	cmd := command(t, "serve", "--config", file, "--data", data)
	log, err := cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill() }) // an error means that it has ended already
	ready := make(chan string, 1)
	go func() {
		var said strings.Builder
		for lines := bufio.NewScanner(log); lines.Scan(); {
			fmt.Fprintln(&said, lines.Text())
			if strings.Contains(lines.Text(), "readings are taken") {
				ready <- ""
			}
		}
		ready <- "the daemon ended: " + said.String()
	}()
	select {
	case why := <-ready:
		if why != "" {
			t.Fatal(why)
		}
	case <-time.After(time.Minute):
		t.Fatal("the daemon does not come up")
	}
	return cmd
}

const drillShop = `format: witnessmark/config/1
shop: {id: %s, name: North engine shop}
listen: 127.0.0.1:0
benches:
  - {id: "1", wrenches: [TW-01]}
wrenches:
  - {id: TW-01, port: "%s", profile: semicolon-xor, calibration: {certificate: C-1, done: 2026-01-17, due: 2037-01-17, range: 10..200 N·m}}
`

const drillProcedure = `format: witnessmark/procedure/1
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
    stages:
      - {id: snug, tighten_to: 30 N·m, accept: ±10 %}
`

// puller is a simulated wrench that pulls as fast as it is acknowledged.
type puller struct {
	wrench *sim.Wrench
	count  int64
	acked  atomic.Int64
}

func newPuller(t *testing.T) (*puller, string) {
	t.Helper()
	line, err := sim.Listen("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	form, err := profile.Builtin("semicolon-xor")
	if err != nil {
		t.Fatal(err)
	}
	w := sim.New(sim.Options{Wrench: "TW-01", Form: form, Line: line, Clock: time.Now, Resend: 200 * time.Millisecond})
	t.Cleanup(func() {
		if err := w.Close(); err != nil {
			t.Error(err)
		}
	})
	if err := w.Plug(t.Context()); err != nil {
		t.Fatal(err)
	}
	return &puller{wrench: w}, "tcp://" + line.Addr()
}

// pull sends n readings, each until it was acknowledged or ctx ends.
func (p *puller) pull(ctx context.Context, n int) error {
	for range n {
		p.count++
		c, a := p.count, 40*unit.Degree
		r := device.Reading{Wrench: "TW-01", Torque: 30 * unit.NewtonMetre, TorqueText: "30.0", Unit: unit.Nm, Angle: &a,
			Direction: device.Tighten, Counter: &c}
		if err := p.wrench.Send(ctx, r); err != nil {
			return err
		}
		p.acked.Add(1)
	}
	return nil
}

// upTo waits until n pulls were acknowledged.
func (p *puller) upTo(t *testing.T, n int64) {
	t.Helper()
	for late := time.Now().Add(time.Minute); p.acked.Load() < n; time.Sleep(time.Millisecond) {
		if time.Now().After(late) {
			t.Fatalf("got %d pulls acknowledged, want %d", p.acked.Load(), n)
		}
	}
}

// drill is a shop whose daemon was backed up while its wrench was pulling.
type drill struct {
	puller   *puller
	file     string // configuration
	data     string
	backup   string // encrypted
	plain    string
	identity string
	kill     func() // ends the daemon in the middle of a pull
	before   int64  // pulls that were acknowledged before the backup began
}

func newDrill(t *testing.T) *drill {
	t.Helper()
	dir := t.TempDir()
	p, at := newPuller(t)
	d := &drill{puller: p, file: write(t, "shop.yaml", fmt.Sprintf(drillShop, "north", at)), data: filepath.Join(dir, "data"),
		backup: filepath.Join(dir, "north.backup"), plain: filepath.Join(dir, "north.zip")}
	id, err := age.GenerateX25519Identity()
	if err != nil {
		t.Fatal(err)
	}
	d.identity = write(t, "identity", id.String()+"\n")
	cmd := serving(t, d.file, d.data)
	c := control.NewClient(daemon.Folder(d.data).Socket())
	defer c.Close()
	if _, err := c.AddProcedure(t.Context(), control.NewProcedure{File: "p.yaml", Text: drillProcedure}); err != nil {
		t.Fatal(err)
	}
	b, err := c.OpenBuild(t.Context(), control.NewBuild{Engine: "E-4711", Family: "TB-7", WorkOrder: "W-12", Person: "Ada Holt"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := c.StartJoint(t.Context(), "1", control.Start{Build: b.ID, Joint: "caps", Person: "Ada Holt"}); err != nil {
		t.Fatal(err)
	}
	load, end := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- p.pull(load, 1<<30) }()
	p.upTo(t, 100)
	inDatabase(t, c, 100)
	d.before = p.acked.Load()
	if err := os.WriteFile(daemon.Folder(d.data).Lost(7), []byte("of an earlier loss\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	succeed(t, "backup", "-o", d.backup, "--recipient", id.Recipient().String(), "--identity", d.identity, "--config", d.file, "--data", d.data)
	succeed(t, "backup", "-o", d.plain, "--plain", "--without-evidence", "--data", d.data)
	d.kill = sync.OnceFunc(func() {
		p.upTo(t, p.acked.Load()+50)
		if err := cmd.Process.Kill(); err != nil {
			t.Error(err)
		}
		_ = cmd.Wait() // it was killed; that is no news
		end()
		<-ended
	})
	t.Cleanup(d.kill)
	return d
}

// inDatabase waits until the database holds an entry.
func inDatabase(t *testing.T, c *control.Client, entry uint64) {
	t.Helper()
	for late := time.Now().Add(time.Minute); ; time.Sleep(5 * time.Millisecond) {
		s, err := c.Status(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if s.Position >= entry {
			return
		}
		if time.Now().After(late) {
			t.Fatalf("the database does not get to entry %d: %+v", entry, s)
		}
	}
}

// succeed runs the program and gives what it said.
func succeed(t *testing.T, args ...string) string {
	t.Helper()
	code, out, errs := said(t, args...)
	if code != exitOK {
		t.Fatalf("%s: got %d: %s%s", args[0], code, out, errs)
	}
	return out
}

// leaves is everything that is recorded of the entries up to last, as one number of leaves and one hash.
func leaves(t *testing.T, data string, last uint64) (n int64, sum string) {
	t.Helper()
	base, err := shop{data: data}.private(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer base.Stop(context.Background())
	conn, err := pgx.Connect(t.Context(), base.ConnString())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	err = conn.QueryRow(t.Context(), `SELECT count(*), md5(string_agg(encode(hash, 'hex'), ',' ORDER BY index))
		FROM witnessmark.ledger_leaf WHERE seq <= $1`, last).Scan(&n, &sum)
	if err != nil {
		t.Fatal(err)
	}
	return n, sum
}

func TestBackup_Drill(t *testing.T) {
	d := newDrill(t)
	if _, ok := daemon.Folder(d.data).LastBackup(); !ok {
		t.Error("got a backup taken and not noted")
	}
	was := time.Unix(1777881600, 0)
	if err := daemon.Folder(d.data).NoteBackup(was); err != nil {
		t.Fatal(err)
	}
	t.Run("a full disk leaves no backup", d.fullDisk)
	if now, _ := daemon.Folder(d.data).LastBackup(); !now.Equal(was) {
		t.Errorf("got %v noted for a backup that failed, want %v", now, was)
	}
	t.Run("files of evidence go and come while they are read", d.rotated)
	t.Run("another one writes there, or nobody can", d.beside)
	d.kill()
	t.Run("hostile", d.hostile)
	t.Run("a restore that is cut off is not served", d.cutOff)
	t.Run("restored elsewhere it goes on", d.goesOn)
	t.Run("restored into a database of one's own", d.named)
	t.Run("taken while no daemon runs, by a passphrase", d.atRest)
}

// ownDatabase starts a server and gives its address, and what empties it again.
func ownDatabase(t *testing.T) (address string, empty func()) {
	t.Helper()
	sockets, err := os.MkdirTemp("", "sockets-") // a test's own folder is closed to the server's user
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(sockets) }) // what is left lies where the system removes it
	if err := os.Chmod(sockets, 0o777); err != nil {
		t.Fatal(err)
	}
	here := "/proc/self/fd/3, " // where the cluster itself looks
	if runtime.GOOS != "linux" {
		here = ""
	}
	base, err := cluster.Start(t.Context(), filepath.Join(t.TempDir(), "pg"), "fsync=off", "unix_socket_directories="+here+sockets, "unix_socket_permissions=0777")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := base.Stop(context.Background()); err != nil {
			t.Error(err)
		}
	})
	return "postgres://witnessmark@/postgres?host=" + url.QueryEscape(sockets), func() { emptied(t, base.ConnString()) }
}

// emptied removes what a restore left, once those who wrote it have gone: a tool of the server may outlive it by a moment.
func emptied(t *testing.T, address string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), address)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	for n, late := 1, time.Now().Add(time.Minute); n > 0; time.Sleep(20 * time.Millisecond) {
		err := conn.QueryRow(t.Context(), `SELECT count(*) FROM pg_stat_activity
			WHERE backend_type = 'client backend' AND pid <> pg_backend_pid()`).Scan(&n)
		if err != nil || time.Now().After(late) {
			t.Fatalf("got %d other sessions, %v, want none", n, err)
		}
	}
	if _, err := conn.Exec(t.Context(), "DROP SCHEMA IF EXISTS witnessmark CASCADE"); err != nil {
		t.Fatal(err)
	}
}

// named restores into a database that is named by its address, and backs that one up.
func (d *drill) named(t *testing.T) {
	address, _ := ownDatabase(t)
	data := filepath.Join(t.TempDir(), "data")
	if out := succeed(t, "restore", d.plain, "--data", data, "--database", address); !strings.Contains(out, "ok: shop north") {
		t.Errorf("got %s, want the record proved", out)
	}
	if _, err := os.Stat(daemon.Folder(data).Postgres()); err == nil {
		t.Error("got a private database too")
	}
	code, _, errs := said(t, "restore", d.plain, "--data", filepath.Join(t.TempDir(), "again"), "--database", address)
	if code == exitOK || !strings.Contains(errs, "holds records already") {
		t.Errorf("into a database that is not empty: got %d, %s", code, errs)
	}
	again := filepath.Join(t.TempDir(), "again.zip")
	succeed(t, "backup", "-o", again, "--plain", "--data", data, "--database", address)
	succeed(t, "restore", again, "--check-only")
}

func (d *drill) atRest(t *testing.T) {
	file, word := filepath.Join(t.TempDir(), "b"), write(t, "word", "correct horse battery\n")
	succeed(t, "backup", "-o", file, "--passphrase-file", word, "--data", d.data)
	out := succeed(t, "restore", file, "--passphrase-file", word, "--check-only")
	if !strings.Contains(out, "shop north") {
		t.Errorf("got %s", out)
	}
	if code, _, errs := said(t, "restore", file, "--passphrase-file", write(t, "word", "correct horse batteri"), "--check-only"); code == exitOK || !strings.Contains(errs, "somebody else") {
		t.Errorf("another passphrase: got %d, %s", code, errs)
	}
	if code, _, errs := said(t, "backup", "-o", file, "--passphrase-file", word, "--data", d.data); code == exitOK || !strings.Contains(errs, "is there already") {
		t.Errorf("over a file that is there: got %d, %s", code, errs)
	}
}

func TestBackup_SaysForWhom(t *testing.T) {
	for rule, tc := range map[string]struct {
		args []string
		want string
	}{
		"nothing said":            {nil, "--plain if everybody who has the file may read it"},
		"a short passphrase":      {[]string{"--passphrase-file", write(t, "p", "short")}, "shorter than 12"},
		"an empty passphrase":     {[]string{"--passphrase-file", write(t, "p", "\nsecond line")}, "is empty"},
		"no recipient":            {[]string{"--recipient", "age1nobody"}, "is no recipient"},
		"two ways at once":        {[]string{"--recipient", "age1x", "--plain"}, "can't be used together"},
		"a folder with no record": {[]string{"--plain", "--data", t.TempDir()}, "no journal in"},
	} {
		out := filepath.Join(t.TempDir(), "b")
		code, _, errs := said(t, append([]string{"backup", "-o", out}, tc.args...)...)
		if code != exitInput || !strings.Contains(errs, tc.want) {
			t.Errorf("%s: got %d, %s, want %q", rule, code, errs, tc.want)
		}
		if _, err := os.Stat(out); err == nil {
			t.Errorf("%s: got a backup", rule)
		}
	}
}

func (d *drill) goesOn(t *testing.T) {
	data := filepath.Join(t.TempDir(), "restored")
	out := succeed(t, "restore", d.backup, "--identity", d.identity, "--data", data, "--shop", "north")
	if !strings.Contains(out, "ok: shop north") || !strings.Contains(out, "goes on: 1") {
		t.Errorf("got %s\nwant the record proved against the checkpoint of the backup", out)
	}
	_, after, _ := strings.Cut(out, "taken ") // the day, the time of day, the entries
	entries, err := strconv.ParseUint(strings.Fields(after)[2], 10, 64)
	if err != nil {
		t.Fatalf("got %s, want the number of entries: %v", out, err)
	}
	if int64(entries) < d.before {
		t.Errorf("got %d entries in the backup, want the %d readings that were acknowledged before it", entries, d.before)
	}
	if text, err := os.ReadFile(daemon.Folder(data).Lost(7)); err != nil || string(text) != "of an earlier loss\n" {
		t.Errorf("got %q, %v, want the checkpoint of an earlier loss back", text, err)
	}
	kept := d.evidenceBack(t, data)
	cmd := serving(t, d.file, data)
	if err := d.puller.pull(t.Context(), 5); err != nil {
		t.Fatal(err)
	}
	c := control.NewClient(daemon.Folder(data).Socket())
	defer c.Close()
	inDatabase(t, c, entries+5)
	if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil {
		t.Errorf("stop: %v", err)
	}
	if now := evidence(t, data); len(now) <= len(kept) {
		t.Errorf("got evidence %v, want what comes now beside %v", slices.Sorted(maps.Keys(now)), slices.Sorted(maps.Keys(kept)))
	}
	if out := succeed(t, "verify", "--data", data); !strings.Contains(out, "ok: shop north") {
		t.Errorf("got %s", out)
	}
	n, sum := leaves(t, data, entries)
	wantN, want := leaves(t, d.data, entries)
	if n != wantN || sum != want || n < d.before {
		t.Errorf("up to entry %d: got %d leaves %s, want %d leaves %s as in the shop that was lost", entries, n, sum, wantN, want)
	}
	if more, _ := leaves(t, data, 1<<40); more < n+5 {
		t.Errorf("got %d leaves, want 5 readings after the %d of the backup", more, n)
	}
}

// evidence is what is kept of the bytes of TW-01, by the name of the file.
func evidence(t *testing.T, data string) map[string]string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(daemon.Folder(data).Evidence(), "TW-01", "*.capture"))
	if err != nil {
		t.Fatal(err)
	}
	kept := map[string]string{}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		kept[filepath.Base(file)] = string(text)
	}
	return kept
}

// evidenceBack holds what was restored against what the shop that was lost wrote on after the backup.
func (d *drill) evidenceBack(t *testing.T, data string) map[string]string {
	kept, lost := evidence(t, data), evidence(t, d.data)
	pulls := 0
	for name, text := range kept {
		if !strings.HasPrefix(lost[name], text) {
			t.Errorf("%s: got %d bytes that are not the first of the %d in the shop that was lost", name, len(text), len(lost[name]))
		}
		c, tear, err := capture.ReadTorn(strings.NewReader(text))
		if err != nil || tear != nil {
			t.Errorf("%s: got %v, %v, want a capture that at most breaks off", name, tear, err)
		}
		var sent []byte
		for _, chunk := range c.Chunks {
			sent = append(sent, chunk.Bytes...)
		}
		pulls += bytes.Count(sent, []byte(";30.0;"))
	}
	if int64(pulls) < d.before {
		t.Errorf("got evidence of %d pulls, want the %d that were acknowledged before the backup", pulls, d.before)
	}
	return kept
}

// rotated has files of evidence made and removed as fast as the disk allows while a backup is taken.
func (d *drill) rotated(t *testing.T) {
	folder := filepath.Join(daemon.Folder(d.data).Evidence(), "TW-99")
	if err := os.MkdirAll(folder, 0o700); err != nil {
		t.Fatal(err)
	}
	defer os.RemoveAll(folder)
	end, ended := make(chan struct{}), make(chan int)
	go func() {
		n := 0
		defer func() { ended <- n }()
		for ; ; n++ {
			select {
			case <-end:
				return
			default:
			}
			file := filepath.Join(folder, fmt.Sprintf("%08d.capture", n))
			if os.WriteFile(file, []byte("# made up"), 0o600) != nil || n >= 200 && os.Remove(filepath.Join(folder, fmt.Sprintf("%08d.capture", n-200))) != nil {
				return
			}
		}
	}()
	for n := range 3 {
		file := filepath.Join(t.TempDir(), fmt.Sprint(n))
		succeed(t, "backup", "-o", file, "--plain", "--data", d.data)
		succeed(t, "restore", file, "--check-only")
	}
	close(end)
	if n := <-ended; n < 400 {
		t.Errorf("got %d files made, want more than there is room for", n)
	}
}

func (d *drill) hostile(t *testing.T) {
	whole, err := os.ReadFile(d.backup)
	if err != nil {
		t.Fatal(err)
	}
	nobody, err := age.GenerateX25519Identity()
	if err != nil {
		t.Fatal(err)
	}
	full := t.TempDir()
	if err := os.WriteFile(filepath.Join(full, "journal.db"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	ours := []string{"--identity", d.identity}
	for _, tc := range []struct {
		rule string
		file []byte
		args []string
		want string
	}{
		{"cut short by a byte", whole[:len(whole)-1], ours, "decrypt"},
		{"cut to a half", whole[:len(whole)/2], ours, "decrypt"},
		{"empty", nil, ours, "no backup"},
		{"goes on after its end", append(slices.Clone(whole), 0), ours, "decrypt"},
		{"a byte of the head changed", flip(whole, bytes.Index(whole, []byte("\n--- "))+9), ours, "header"},
		{"a byte of the middle changed", flip(whole, len(whole)/2), ours, "damaged"},
		{"the last byte changed", flip(whole, len(whole)-1), ours, "decrypt"},
		{"for somebody else", whole, []string{"--identity", write(t, "nobody", nobody.String())}, "somebody else"},
		{"without an identity", whole, nil, "--identity"},
		{"of another shop", whole, append(ours, "--shop", "south"), "a backup of the shop north"},
		{"into a folder that is not empty", whole, append(ours, "--data", full), "not empty"},
	} {
		t.Run(tc.rule, func(t *testing.T) {
			file := filepath.Join(t.TempDir(), "b")
			if err := os.WriteFile(file, tc.file, 0o600); err != nil {
				t.Fatal(err)
			}
			data := filepath.Join(t.TempDir(), "data")
			code, _, errs := said(t, append([]string{"restore", file, "--data", data}, tc.args...)...)
			if code == exitOK || !strings.Contains(errs, tc.want) {
				t.Errorf("got %d, %s, want %q", code, errs, tc.want)
			}
			if _, err := os.Stat(data); err == nil {
				t.Error("got a data folder made, want nothing written")
			}
		})
	}
	t.Run("a plain one with a byte changed is refused, or holds what it held", d.flipped)
}

// flipped changes single bytes all over a plain backup. Some mean nothing, such as those of a time of day; where the file is
// accepted, the hashes of the manifest have been met.
func (d *drill) flipped(t *testing.T) {
	whole, err := os.ReadFile(d.plain)
	if err != nil {
		t.Fatal(err)
	}
	refused := 0
	for at := 0; at < len(whole); at += len(whole)/40 + 1 {
		file := filepath.Join(t.TempDir(), "b")
		if err := os.WriteFile(file, flip(whole, at), 0o600); err != nil {
			t.Fatal(err)
		}
		if code, _, _ := said(t, "restore", file, "--check-only"); code != exitOK {
			refused++
		}
	}
	if refused < 38 {
		t.Errorf("got %d of 40 refused", refused)
	}
	succeed(t, "restore", d.plain, "--check-only")
}

func flip(b []byte, at int) []byte {
	b = slices.Clone(b)
	b[at] ^= 0x10
	return b
}

// limited runs the program where no file may grow beyond so many bytes.
func limited(t *testing.T, bytes int, args ...string) (failed bool, said string) {
	t.Helper()
	cmd := command(t, args...)
	cmd.Env = append(cmd.Env, fmt.Sprintf("%s=%d", childLimit, bytes))
	out, err := cmd.CombinedOutput()
	return err != nil, string(out)
}

func (d *drill) fullDisk(t *testing.T) {
	dir := t.TempDir()
	failed, said := limited(t, 16<<10, "backup", "-o", filepath.Join(dir, "b"), "--plain", "--data", d.data)
	if !failed || !strings.Contains(said, "write backup") {
		t.Errorf("got %s, want it to say that the backup was not written", said)
	}
	if left, _ := os.ReadDir(dir); len(left) > 0 {
		t.Errorf("got %v left behind", left)
	}
}

func (d *drill) cutOff(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	if failed, said := limited(t, 16<<10, "restore", d.plain, "--data", data); !failed {
		t.Fatalf("got %s, want no room for the journal", said)
	}
	for name, args := range map[string][]string{
		"serve refuses it":       {"serve", "--config", d.file, "--data", data},
		"nothing is put into it": {"restore", d.plain, "--data", data},
	} {
		code, _, errs := said(t, args...)
		if code == exitOK || !strings.Contains(errs, "not finished") && !strings.Contains(errs, "not empty") {
			t.Errorf("%s: got %d, %s", name, code, errs)
		}
	}
}
