package daemon

import (
	"bytes"
	"context"
	"errors"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/rs/zerolog"

	"witnessmark/cmd/witnessmark/internal/control"
)

// tool finds a program of the package prometheus, without which these tests prove nothing.
func tool(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		t.Fatalf("%v: install it, for example with apt-get install prometheus", err)
	}
	return path
}

// metricLines asserts that the metrics of a daemon hold each line, or its beginning.
func metricLines(t *testing.T, d *Daemon, want ...string) {
	t.Helper()
	text := metricsOf(t, d)
	for _, line := range want {
		if !strings.Contains(text, "\nwitnessmark_"+line) {
			t.Errorf("the metrics lack %s", line)
		}
	}
}

func TestMetrics_ShopFloor(t *testing.T) {
	w, port := newWrench(t)
	file := strings.Replace(shopFile(port), "due: 2027-01-17", "due: 2027-01-17, cycles: 4", 1)
	data := t.TempDir()
	d := start(t, data, file)
	c := client(t, d)
	metricLines(t, d, `builds_in_work 0`, `wrench_calibration_due_timestamp_seconds{wrench="TW-01"} 1.8002303`,
		`first_pulls_total{wrench="TW-01"} 0`, `out_of_calibration_readings_total{wrench="TW-01"} 0`,
		`wrench_calibration_readings_left{wrench="TW-01"} 4`, `wrench_calibration_readings_allowed{wrench="TW-01"} 4`)
	if strings.Contains(metricsOf(t, d), "witnessmark_bench_steps_left") {
		t.Error("got steps left at a bench without a joint")
	}
	onBench(t, c)
	for _, pull := range [][2]int64{{30, 40}, {30, 41}, {25, 34}, {30, 8}, {30, 40}} { // the third is weak and made good by the fourth
		w.pull(t, pull[0], pull[1])
	}
	if err := d.live.await(t.Context(), d.life, d.journal.Last()); err != nil {
		t.Fatal(err)
	}
	metricLines(t, d, `builds_in_work 1`, `bench_steps_left{bench="1"} 4`, `first_pulls_total{wrench="TW-01"} 4`,
		`first_pulls_passed_total{wrench="TW-01"} 3`, `out_of_calibration_readings_total{wrench="TW-01"} 1`,
		`wrench_calibration_readings_left{wrench="TW-01"} -1`)
	if _, err := c.Answer(t.Context(), "1", control.Answer{Check: "end-float", Value: "0.12 mm", Yes: true, Person: "Ada Holt"}); err != nil {
		t.Fatal(err)
	}
	w.pull(t, 50, 20)
	stopDaemon(t, d)
	t.Run("a restart remembers which steps were pulled at", func(t *testing.T) {
		d := start(t, data, file)
		w.pull(t, 60, 10)
		w.pull(t, 60, 30)
		if err := d.live.await(t.Context(), d.life, d.journal.Last()); err != nil {
			t.Fatal(err)
		}
		metricLines(t, d, `first_pulls_total{wrench="TW-01"} 1`, `first_pulls_passed_total{wrench="TW-01"} 1`)
	})
}

// TestMetrics_PassThePublishedRules gives what a real daemon serves to `promtool check metrics`, which holds it against
// the naming rules of the Prometheus project.
func TestMetrics_PassThePublishedRules(t *testing.T) {
	w, port := newWrench(t)
	d := start(t, t.TempDir(), shopFile(port))
	onBench(t, client(t, d))
	w.pull(t, 30, 40)
	committed(t, d)
	if err := d.selfCheck.pass(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	check := func(text string) (string, error) {
		cmd := exec.Command(tool(t, "promtool"), "check", "metrics")
		cmd.Stdin = strings.NewReader(text)
		out, err := cmd.CombinedOutput()
		return string(out), err
	}
	if said, err := check(metricsOf(t, d)); err != nil || said != "" {
		t.Errorf("got %v, %s, want nothing to find", err, said)
	}
	if said, err := check("# TYPE witnessmark_x_ms counter\nwitnessmark_x_ms 1\n"); err == nil {
		t.Errorf("got %q, want a bad name found", said)
	}
}

func TestMetrics_Disk(t *testing.T) {
	_, port := newWrench(t)
	d := start(t, t.TempDir(), away(shopFile(port)))
	metricLines(t, d, "data_folder_free_bytes ", "data_folder_size_bytes ", "sessions 0")
	free, size, err := Space(d.opt.Data)
	if err != nil || free == 0 || free > size {
		t.Errorf("got %d of %d bytes free, %v", free, size, err)
	}
	if _, _, err := Space(d.opt.Data + "/none"); err == nil {
		t.Error("got the space of a folder that is not there")
	}
}

func TestMetrics_JournalWaits(t *testing.T) {
	p, at := newPeer(t, "semicolon-xor")
	d := start(t, t.TempDir(), shopFile(at))
	p.accept()
	p.send(p.line(1, 30, 40, ""))
	p.expect("=1\r\n")
	committed(t, d)
	if text := metricsOf(t, d); strings.Contains(text, "journal_oldest_uncommitted") {
		t.Error("got an entry that waits, want none")
	}
	d.writer.set(reach{known: true, position: 1})
	metricLines(t, d, "journal_oldest_uncommitted_timestamp_seconds 1.777881602e+09", "journal_depth 1")
}

func TestSelfCheck(t *testing.T) {
	w, port := newWrench(t)
	var log bytes.Buffer
	d := startTelling(t, t.TempDir(), shopFile(port), &log)
	onBench(t, client(t, d))
	w.pull(t, 30, 40)
	committed(t, d)
	if strings.Contains(metricsOf(t, d), "ledger_verif") {
		t.Error("got figures of a check that was not made")
	}
	if err := d.selfCheck.pass(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	metricLines(t, d, "ledger_verify_failed 0", "ledger_verified_timestamp_seconds 1.7778")
	tamper(t, d)
	if err := d.selfCheck.pass(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	metricLines(t, d, "ledger_verify_failed 1", "ledger_verified_timestamp_seconds 1.7778")
	stopDaemon(t, d)
	if !strings.Contains(log.String(), "the record was changed: table reading") {
		t.Error("the log does not say what was changed")
	}
}

// tamper changes a reading as only the owner of the database can.
func tamper(t *testing.T, d *Daemon) {
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
	for _, sql := range []string{"ALTER TABLE witnessmark.reading DISABLE TRIGGER ALL", "UPDATE witnessmark.reading SET torque = torque + 1"} {
		if _, err := conn.Exec(t.Context(), sql); err != nil {
			t.Fatal(err)
		}
	}
}

func TestSelfCheck_OnceADay(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		began := time.Now()
		var at []time.Duration
		ctx, cancel := context.WithCancel(t.Context())
		c := &selfCheck{d: &Daemon{opt: Options{Log: zerolog.Nop(), Clock: time.Now}}}
		c.run(ctx, func(context.Context, func(done, all int64)) error {
			switch at = append(at, time.Since(began)); len(at) {
			case 2:
				return errors.New("the database is away")
			case 4:
				cancel()
			}
			return nil
		})
		want := []time.Duration{5 * time.Minute, 24*time.Hour + 5*time.Minute, 24*time.Hour + 15*time.Minute, 48*time.Hour + 15*time.Minute}
		if !slices.Equal(at, want) {
			t.Errorf("got passes at %v, want %v", at, want)
		}
	})
}

func TestSelfCheck_RestsFourTimesAsLongAsItWorks(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		progress := resting(ctx)
		for _, work := range []time.Duration{time.Second, 3 * time.Second} {
			time.Sleep(work)
			began := time.Now()
			progress(1, 2)
			if got := time.Since(began); got != 4*work {
				t.Errorf("got a rest of %v after %v", got, work)
			}
		}
		time.Sleep(time.Hour)
		cancel()
		began := time.Now()
		if progress(2, 2); time.Since(began) != 0 {
			t.Error("got a rest when the daemon stops")
		}
	})
}

func TestSelfCheck_CannotBeMade(t *testing.T) {
	_, port := newWrench(t)
	d := start(t, t.TempDir(), away(shopFile(port)))
	if err := d.selfCheck.pass(t.Context(), nil); err == nil {
		t.Error("got a check without a database")
	}
	if strings.Contains(metricsOf(t, d), "ledger_verif") {
		t.Error("got figures of a check that could not be made")
	}
}
