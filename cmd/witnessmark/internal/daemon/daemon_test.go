package daemon

import (
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/prometheus/client_golang/prometheus/testutil"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
)

func TestDaemon_FromWrenchToDatabase(t *testing.T) {
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
	var seen []control.Update
	for _, pull := range [][2]int64{{30, 40}, {30, 41}, {25, 34}, {30, 8}} { // the last goes on where the weak one stopped
		w.pull(t, pull[0], pull[1])
		seen = append(seen, <-updates)
	}
	t.Run("each reading is judged as it comes", func(t *testing.T) {
		want := []string{"snug 1 pass", "snug 2 pass", "snug 3 low torque", "snug 3 pass"}
		if got := marksOf(seen); !reflect.DeepEqual(got, want) {
			t.Errorf("got %q, want %q", got, want)
		}
	})
	t.Run("everything is in the database", func(t *testing.T) {
		committed(t, d)
		s, err := c.Status(t.Context())
		if err != nil || s.Position != s.Entries || s.Database != "up" {
			t.Errorf("got %+v, %v, want all entries in a database that is up", s, err)
		}
	})
	t.Run("a person's action takes effect", func(t *testing.T) {
		v, err := c.Answer(t.Context(), "1", control.Answer{Check: "end-float", Value: "0.12 mm", Yes: true, Person: "Ada Holt"})
		if err != nil || v.Run == 0 {
			t.Errorf("got %+v, %v, want the answer taken", v, err)
		}
	})
	t.Run("one that makes no sense is refused and not recorded", func(t *testing.T) {
		before := d.journal.Last()
		_, err := c.StartJoint(t.Context(), "1", control.Start{Build: 99, Joint: "caps", Person: "Bo Lind"})
		var e *control.Error
		if !errors.As(err, &e) || e.Status != 404 || d.journal.Last() != before {
			t.Errorf("got %v and %d new entries, want a refusal and none", err, d.journal.Last()-before)
		}
	})
	t.Run("the pages of a running daemon", func(t *testing.T) {
		for path, want := range map[string]string{"/-/healthy": "healthy", "/-/ready": "ready", "/about": "no safety device"} {
			if code, body := get(t, d, path); code != 200 || !strings.Contains(body, want) {
				t.Errorf("%s: got %d %q, want 200 and %q", path, code, body, want)
			}
		}
		if code, _ := get(t, d, "/etc"); code != 404 {
			t.Errorf("got %d for a page that is not there, want 404", code)
		}
	})
	t.Run("the metrics are well-formed and count this bench", func(t *testing.T) { lint(t, d) })
}

func lint(t *testing.T, d *Daemon) {
	problems, err := testutil.GatherAndLint(d.metrics.registry)
	if err != nil || len(problems) > 0 {
		t.Errorf("got %v, %v, want nothing to find", problems, err)
	}
	text := metricsOf(t, d)
	for _, want := range []string{
		`witnessmark_readings_total{verdict="pass",wrench="TW-01"} 3`,
		`witnessmark_readings_total{verdict="low torque",wrench="TW-01"} 1`,
		`witnessmark_refused_frames_total{reason="checksum",wrench="TW-01"} 0`,
		`witnessmark_wrench_up{wrench="TW-01"} 1`,
		`witnessmark_wrench_state{state="fresh",wrench="TW-01"} 1`,
		`witnessmark_wrench_state{state="stale",wrench="TW-01"} 0`,
		`witnessmark_wrench_state{state="gone",wrench="TW-01"} 0`,
		`witnessmark_wrench_epochs_total{wrench="TW-01"} 0`,
		`witnessmark_skipped_readings_total{wrench="TW-01"} 0`,
		`witnessmark_wrench_last_seen_timestamp_seconds{wrench="TW-01"} `,
		`witnessmark_journal_latency_seconds_count 4`,
		`witnessmark_commit_latency_seconds_count 4`,
		`witnessmark_database_up 1`,
		`witnessmark_ledger_size `,
		`witnessmark_ledger_last_signature_timestamp_seconds `,
		`witnessmark_build_info{`,
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the metrics lack %s", want)
		}
	}
}

func metricsOf(t *testing.T, d *Daemon) string {
	t.Helper()
	code, text := get(t, d, "/metrics")
	if code != 200 {
		t.Fatalf("got %d, %s, want the metrics", code, text)
	}
	return text
}

func TestDaemon_WorksWithoutDatabase(t *testing.T) {
	w, port := newWrench(t)
	data := t.TempDir()
	away := strings.Replace(shopFile(port), "listen:", "database: postgres://witnessmark@127.0.0.1:1/none\nlisten:", 1)
	d := start(t, data, away)
	onBench(t, client(t, d))
	for range 4 {
		w.pull(t, 30, 40)
	}
	if err := d.live.await(t.Context(), d.life, d.journal.Last()); err != nil {
		t.Fatal(err)
	}
	v, err := d.View("1")
	if err != nil || v.Left != 4 || v.Steps != 8 {
		t.Errorf("got %d of %d left, %v, want 4 of 8: the bench works without a database", v.Left, v.Steps, err)
	}
	if code, _ := get(t, d, "/-/ready"); code != 200 {
		t.Errorf("got %d, want a daemon that is ready", code)
	}
	if !strings.Contains(metricsOf(t, d), "witnessmark_database_up 0") {
		t.Error("the metrics do not say that the database is away")
	}
	stopDaemon(t, d)
	t.Run("a restart knows the bench and the wrench's last reading", func(t *testing.T) {
		d := start(t, data, away)
		again, err := d.View("1")
		if err != nil || again.Seq != v.Seq || again.Left != v.Left {
			t.Errorf("got %+v, %v, want the bench as it was", again, err)
		}
		before := d.journal.Last()
		for strings.Contains(metricsOf(t, d), `witnessmark_resent_readings_total{wrench="TW-01"} 0`) {
			w.Repeat() // its last acknowledgement was lost, for all the wrench knows; nothing goes out before it is heard
		}
		w.pull(t, 60, 30)
		if got := d.journal.Last() - before; got != 1 {
			t.Errorf("got %d new entries, want the new reading alone", got)
		}
		if err := d.live.await(t.Context(), d.life, d.journal.Last()); err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(metricsOf(t, d), `witnessmark_readings_total{verdict="pass",wrench="TW-01"} 1`) {
			t.Error("the metrics do not count the one reading since the start, and that alone")
		}
	})
}

func TestDaemon_OneFolderOneDaemon(t *testing.T) {
	_, port := newWrench(t)
	data := t.TempDir()
	file := strings.Replace(shopFile(port), "listen:", "database: postgres://witnessmark@127.0.0.1:1/none\nlisten:", 1)
	first := start(t, data, file)
	o, _, err := options(data, file, t.Output())
	if err != nil {
		t.Fatal(err)
	}
	second, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	if err := second.Start(t.Context()); err == nil || !strings.Contains(err.Error(), "another daemon works in") {
		t.Errorf("got %v, want the folder refused", err)
	}
	if _, err := client(t, first).Status(t.Context()); err != nil {
		t.Errorf("got %v, want the first daemon untouched", err)
	}
}

func TestDaemon_FolderIsPrivate(t *testing.T) {
	_, port := newWrench(t)
	data := filepath.Join(t.TempDir(), "box")
	start(t, data, strings.Replace(shopFile(port), "listen:", "database: postgres://witnessmark@127.0.0.1:1/none\nlisten:", 1))
	for name, want := range map[string]os.FileMode{"": 0o700, "lock": 0o600, "journal.db": 0o600, "control.sock": 0o600} {
		info, err := os.Stat(filepath.Join(data, name))
		if err != nil || info.Mode().Perm() != want {
			t.Errorf("%q: got %v, %v, want %v", name, info.Mode().Perm(), err, want)
		}
	}
}

func TestDaemon_DeclaresAWrenchOnce(t *testing.T) {
	_, port := newWrench(t)
	data := t.TempDir()
	file := strings.Replace(shopFile(port), "listen:", "database: postgres://witnessmark@127.0.0.1:1/none\nlisten:", 1)
	for _, tc := range []struct {
		file string
		want uint64
	}{
		{file, 1},
		{file, 1},
		{strings.Replace(file, "due: 2027-01-17", "due: 2027-03-01", 1), 2},
		{strings.Replace(file, "due: 2027-01-17", "due: 2027-03-01", 1), 2},
		{strings.NewReplacer("due: 2027-01-17", "due: 2027-03-01", "certificate: C-1", "certificate: C-2").Replace(file), 3},
	} {
		d := start(t, data, tc.file)
		if got := d.journal.Last(); got != tc.want {
			t.Errorf("got %d entries, want %d", got, tc.want)
		}
		stopDaemon(t, d)
	}
}

func TestDaemon_OvertakenAction(t *testing.T) {
	_, port := newWrench(t)
	d := start(t, t.TempDir(), strings.Replace(shopFile(port), "listen:", "database: postgres://witnessmark@127.0.0.1:1/none\nlisten:", 1))
	b := onBench(t, client(t, d))
	_, err := d.act(t.Context(), "Ada Holt", func(s *bench.Shop, id string) (audit.Event, error) {
		closed := audit.JointClosed{Bench: "1", Run: s.Run("1"), Person: id}
		if _, err := d.journal.Append(t.Context(), closed); err != nil { // somebody was a moment faster
			return nil, err
		}
		return closed, nil
	})
	var e *control.Error
	if !errors.As(err, &e) || e.Status != 409 {
		t.Errorf("got %v, want the person told that the joint of build %d is closed already", err, b.ID)
	}
}
