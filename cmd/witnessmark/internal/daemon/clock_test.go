package daemon

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"

	"witnessmark/audit"
)

// What adjtimex(2) says of a clock that is led to the right time, 500 ppm, is no step.
func TestClockWatch(t *testing.T) {
	for name, tc := range map[string]struct {
		boot          string // of the later moment; the first is of boot a
		shown, passed time.Duration
		want          time.Duration
	}{
		"both agree":                       {"a", 10 * time.Second, 10 * time.Second, 0},
		"led slowly to the right time":     {"a", 10*time.Second + 5*time.Millisecond, 10 * time.Second, 0},
		"asleep for a night":               {"a", 9 * time.Hour, 9 * time.Hour, 0},
		"set forward":                      {"a", time.Hour, 10 * time.Second, time.Hour - 10*time.Second},
		"set back":                         {"a", -time.Hour, 10 * time.Second, -time.Hour - 10*time.Second},
		"set by a second, a leap second":   {"a", 9 * time.Second, 10 * time.Second, -time.Second},
		"another boot, and nothing counts": {"b", -time.Hour, 10 * time.Second, 0},
	} {
		t.Run(name, func(t *testing.T) {
			var recorded time.Duration
			kept := 0
			refuse := true
			c := &clockWatch{last: instant{epoch, "a", time.Minute}, steps: prometheus.NewCounter(prometheus.CounterOpts{Name: "x"}),
				keep: func(instant) { kept++ },
				record: func(_ context.Context, ev audit.ClockSet) error {
					if refuse {
						return errors.New("the disk is full")
					}
					recorded += time.Duration(ev.By) * time.Millisecond
					return nil
				}}
			now := instant{epoch.Add(tc.shown), tc.boot, time.Minute + tc.passed}
			c.look(t.Context(), now) // what could not be recorded is found again, once
			refuse = false
			for range 2 {
				c.look(t.Context(), now)
			}
			steps := 0
			if tc.want != 0 {
				steps = 1
			}
			if recorded != tc.want || kept != steps || testutil.ToFloat64(c.steps) != float64(steps) {
				t.Errorf("got %v recorded, kept %d times, want %v and %d steps", recorded, kept, tc.want, steps)
			}
		})
	}
	t.Run("without a boot this process counts", func(t *testing.T) {
		at := instant{Shown: time.Now()}
		back := instant{Shown: time.Now()}
		if got := at.step(back); got.Abs() >= stepFrom {
			t.Errorf("got a step of %v", got)
		}
	})
}

// A moment in which the process was held up between the two clocks is looked at again.
func TestClockWatch_HeldUp(t *testing.T) {
	ups := []time.Duration{1 * time.Second, 61 * time.Second, 62 * time.Second, 62 * time.Second}
	c := &clockWatch{clock: func() time.Time { return epoch }, uptime: func() (string, time.Duration, error) {
		up := ups[0]
		ups = ups[1:]
		return "a", up, nil
	}}
	if got := c.now(); got.Up != 62*time.Second || len(ups) != 0 {
		t.Errorf("got %+v, want the second try", got)
	}
}

// box is a computer whose clock can be set and which can be booted.
type box struct {
	mu   sync.Mutex
	on   time.Time // when the test began, by the process's own clock
	off  time.Duration
	boot string
}

func (b *box) set(by time.Duration) { b.mu.Lock(); b.off += by; b.mu.Unlock() }

func (b *box) clock() time.Time {
	b.mu.Lock()
	defer b.mu.Unlock()
	return epoch.Add(time.Since(b.on) + b.off)
}

func (b *box) uptime() (string, time.Duration, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.boot, time.Since(b.on), nil
}

// start runs a daemon on the box.
func (b *box) start(t *testing.T, data, file string, log *bytes.Buffer) *Daemon {
	t.Helper()
	return startTelling(t, data, file, log, func(o *Options) { o.Clock, o.Uptime = b.clock, b.uptime })
}

// setEntries are the steps of the clock in the journal after an entry.
func setEntries(t *testing.T, d *Daemon, after uint64) (all []audit.ClockSet) {
	t.Helper()
	last := d.journal.Last()
	if last == after {
		return nil
	}
	entries, err := d.journal.Read(after+1, int(last-after))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if ev, is := e.Event.(audit.ClockSet); is {
			all = append(all, ev)
		}
	}
	return all
}

func TestClock_SetWhileTheDaemonStood(t *testing.T) {
	_, port := newWrench(t)
	data, file := t.TempDir(), away(shopFile(port))
	b := &box{on: time.Now(), boot: "first"}
	var log bytes.Buffer
	first := b.start(t, data, file, &log)
	after := first.journal.Last()
	stopDaemon(t, first)
	kept := filepath.Join(data, "clock")
	var before []byte
	const hour = int64(3_600_000)
	for _, tc := range []struct {
		name string
		do   func() error
		by   int64 // milliseconds, to a second; 0: no entry
		at   bool  // at least
	}{
		{"nothing", func() error { return nil }, 0, false},
		{"forward", func() error { before, _ = os.ReadFile(kept); b.set(time.Hour); return nil }, hour, false},
		{"a crash came between the entry and what is kept", func() error { return os.WriteFile(kept, before, 0o600) }, hour, false},
		{"back", func() error { b.set(-time.Hour); return nil }, -hour, false},
		{"by less than half a second", func() error { b.set(100 * time.Millisecond); return nil }, 0, false},
		{"another boot", func() error { b.boot = "second"; return nil }, 0, false},
		{"another boot, back", func() error { b.boot = "third"; b.set(-time.Hour); return nil }, -hour, true},
		{"another boot, forward", func() error { b.boot = "fourth"; b.set(2 * time.Hour); return nil }, 0, false},
		{"back, and what was kept is gone", func() error { b.set(-3 * time.Hour); return os.Remove(kept) }, -hour, true},
		{"back, and what was kept is damaged", func() error { b.set(-4 * time.Hour); return os.WriteFile(kept, []byte("{"), 0o600) }, -4 * hour, true},
	} {
		if err := tc.do(); err != nil {
			t.Fatal(err)
		}
		d := b.start(t, data, file, &log)
		got := setEntries(t, d, after)
		after = d.journal.Last()
		found, steps := 0, "clock_found_set 0"
		if tc.by != 0 {
			found, steps = 1, "clock_found_set 1"
		}
		metricLines(t, d, steps, "clock_steps_total "+strconv.Itoa(found))
		// What passed since the newest entry is not seen where only that is known.
		if len(got) != found || found == 1 && (got[0].AtLeast != tc.at || got[0].By < tc.by-1000 || got[0].By > tc.by+60_000) {
			t.Errorf("%s: got %+v, want one of %d ms (at least: %v)", tc.name, got, tc.by, tc.at)
		}
		stopDaemon(t, d)
	}
	if !strings.Contains(log.String(), "was not kept well") || !strings.Contains(log.String(), "the clock of this computer was set") {
		t.Error("the log does not tell of the clock")
	}
}

func TestClock_Trouble(t *testing.T) {
	_, port := newWrench(t)
	d := start(t, t.TempDir(), away(shopFile(port)))
	for name, tc := range map[string]struct {
		right  bool
		err    error
		figure string
		words  string
	}{
		"kept right": {true, nil, "\nwitnessmark_clock_synchronised 1", ""},
		"not":        {false, nil, "\nwitnessmark_clock_synchronised 0", "is not synchronised: the order of what is recorded holds"},
		"not known":  {false, errors.New("this is looked at on Linux only"), "", "is not known (this is looked at on Linux only)"},
	} {
		d.keptRight(tc.right, tc.err)
		text := metricsOf(t, d)
		if got := d.Status().Clock; !strings.Contains(got, tc.words) || (got == "") != (tc.words == "") {
			t.Errorf("%s: got %q, want %q", name, got, tc.words)
		}
		if !strings.Contains(text, tc.figure) || strings.Contains(text, "\nwitnessmark_clock_synchronised") != (tc.figure != "") {
			t.Errorf("%s: the metrics do not say %q", name, tc.figure)
		}
	}
}

// keptRight puts an answer in place of the kernel's, which comes soon after a start and then not for a while.
func (d *Daemon) keptRight(right bool, why error) {
	c := d.clockWatch
	for asked := false; !asked; {
		c.mu.Lock()
		if asked = !errors.Is(c.why, errNotAsked); asked {
			c.right, c.why = right, why
		}
		c.mu.Unlock()
		if !asked {
			time.Sleep(time.Millisecond)
		}
	}
}

// ages are the figures that say when something was, as ages by the clock of the box.
func (b *box) ages(t *testing.T, d *Daemon) map[string]time.Duration {
	t.Helper()
	out := map[string]time.Duration{}
	for _, m := range regexp.MustCompile(`(?m)^witnessmark_(\w+(?:signature|verified|backup_last)_timestamp_seconds) (\S+)$|^witnessmark_(backup_last_timestamp_seconds) (\S+)$`).FindAllStringSubmatch(metricsOf(t, d), -1) {
		name, value := m[1]+m[3], m[2]+m[4]
		at, err := strconv.ParseFloat(value, 64)
		if err != nil {
			t.Fatal(err)
		}
		out[name] = b.clock().Sub(time.UnixMicro(int64(at * 1e6)))
	}
	return out
}

// TestClock_AgesAfterAStep sets the clock by 400 days after the ledger was signed and checked and a backup was taken: no age is
// negative then, what lies ahead is left out, and what is done again afterwards is young, so that no alert stays.
func TestClock_AgesAfterAStep(t *testing.T) {
	const far = 400 * 24 * time.Hour
	for name, by := range map[string]time.Duration{"forward": far, "back": -far} {
		t.Run(name, func(t *testing.T) {
			w, port := newWrench(t)
			b := &box{on: time.Now(), boot: "first"}
			data := t.TempDir()
			var log bytes.Buffer
			d := b.start(t, data, shopFile(port), &log)
			onBench(t, client(t, d))
			w.pull(t, 30, 40)
			work := func() {
				t.Helper()
				committed(t, d)
				if err := d.selfCheck.pass(t.Context(), func(int64, int64) {}); err != nil {
					t.Fatal(err)
				}
				if err := d.folder.NoteBackup(b.clock()); err != nil {
					t.Fatal(err)
				}
			}
			young := func(when string) {
				t.Helper()
				ages := b.ages(t, d)
				for _, figure := range []string{"ledger_last_signature_timestamp_seconds", "ledger_verified_timestamp_seconds", "backup_last_timestamp_seconds"} {
					if age, there := ages[figure]; !there || age < 0 || age > time.Hour {
						t.Errorf("%s: got %s of age %v, %v, want it young", when, figure, age, there)
					}
				}
			}
			work()
			young("before")
			last := d.journal.Last()
			b.set(by)
			ages := b.ages(t, d)
			for figure, age := range ages {
				if age < 0 {
					t.Errorf("%s: got age %v, want what lies ahead left out", figure, age)
				}
			}
			if _, there := ages["backup_last_timestamp_seconds"]; there != (by > 0) {
				t.Errorf("got the age of the backup: %v, want it where it does not lie ahead", there)
			}
			if err := d.journal.Wait(t.Context(), last); err != nil { // the daemon sees the step
				t.Fatal(err)
			}
			w.pull(t, 30, 41)
			work()
			young("after")
			if got := setEntries(t, d, 0); len(got) != 1 || (time.Duration(got[0].By)*time.Millisecond-by).Abs() >= stepFrom {
				t.Errorf("got %+v, want one step of %v", got, by)
			}
			stopDaemon(t, d)
			if got := counters(t, data); !slices.Equal(got, []int64{1, 2}) {
				t.Errorf("got readings %v, want them in the order in which they came", got)
			}
		})
	}
}
