package journal_test

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"witnessmark/audit"
)

// TestF17_EveryCall has the kernel refuse, in turn, every single write, sync and lengthening of a whole ingest: the making
// of the journal and some readings.
func TestF17_EveryCall(t *testing.T) {
	strace := tracer(t)
	tries, acknowledged := 0, 0
	for _, fault := range []struct {
		calls, errno string
		goesOn       bool // else nothing is acknowledged after it
	}{
		{"fdatasync", "EIO", false},
		{"fdatasync", "ENOSPC", false},
		{"fsync", "EIO", false},
		{"pwrite64", "EIO", false},
		{"pwrite64", "ENOSPC", true},
		{"pwrite64", "EROFS", true},
		{"ftruncate", "ENOSPC", true},
		{"fallocate", "ENOSPC", true},
	} {
		t.Run(fault.calls+" "+fault.errno, func(t *testing.T) {
			hit, calls := map[int]bool{}, 1
			for sweep := 0; sweep < mostSweeps && len(hit) < calls; sweep++ {
				for n := 1; ; n++ {
					f := failAt(t, strace, fault.calls, fault.errno, n, 1+sweep%4)
					calls = max(calls, f.calls)
					if f.at == 0 {
						break
					}
					f.check(t, fault.goesOn)
					hit[f.at], tries, acknowledged = true, tries+1, acknowledged+len(f.acked)
				}
			}
			t.Logf("%d calls, %d refused", calls, len(hit))
			if len(hit) < calls {
				t.Errorf("got %d of %d calls refused, want each", len(hit), calls)
			}
		})
	}
	t.Logf("FAULT F17 tries=%d acknowledged=%d", tries, acknowledged)
}

func tracer(t *testing.T) string {
	t.Helper()
	strace, err := exec.LookPath("strace")
	if errors.Is(err, exec.ErrNotFound) {
		t.Skip("strace is not installed, it makes calls fail")
	}
	if out, err := exec.Command(strace, "-qq", "-e", "trace=none", "true").CombinedOutput(); err != nil {
		t.Skipf("strace may not trace here: %v: %s", err, out)
	}
	return strace
}

// mostSweeps is how often all calls are gone through. The tracer counts for each thread, and which thread makes which call is
// the scheduler's choice: it takes a few sweeps until every call was refused once.
const mostSweeps = 40

// ingest is how many readings one run appends.
const ingest = 5

// failed is a run in which one call was refused.
type failed struct {
	path  string
	calls int // that were made
	at    int // which of them was refused; 0: none was
	acked []uint64
	words string
}

// begun is a line of the tracer's log that begins a call; its end may be a line of its own.
var begun = regexp.MustCompile(`^\d+ +[a-z0-9]+\(`)

func failAt(t *testing.T, strace, calls, errno string, n, threads int) failed {
	t.Helper()
	dir := t.TempDir()
	f := failed{path: filepath.Join(dir, "j.db")}
	log := filepath.Join(dir, "calls")
	cmd := exec.Command(strace, "-f", "-qq", "-o", log, "-e", "trace="+calls, "-e",
		fmt.Sprintf("inject=%s:error=%s:when=%d", calls, errno, n), os.Args[0])
	cmd.Env = []string{fmt.Sprintf("JOURNAL_COUNT=%d", ingest), fmt.Sprintf("GOMAXPROCS=%d", threads)}
	_, f.words = acknowledged(t, cmd, f.path, func(seq uint64) { f.acked = append(f.acked, seq) })
	text, err := os.ReadFile(log)
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(text)) {
		if begun.MatchString(line) {
			f.calls++
		}
		if strings.Contains(line, "(INJECTED)") {
			f.at = f.calls
			break
		}
	}
	return f
}

// check opens the journal again: what was acknowledged is there once and in order, and at most the one reading more that was
// on its way.
func (f failed) check(t *testing.T, goesOn bool) {
	t.Helper()
	j := open(t, f.path)
	defer j.Close()
	got, err := j.Read(1, ingest+1)
	if err != nil {
		t.Fatalf("call %d: %v", f.at, err)
	}
	for i, e := range got {
		if n := *e.Event.(audit.ReadingTaken).Counter; n != int64(i) {
			t.Errorf("call %d: got reading %d as entry %d, want each once and in order", f.at, n, e.Seq)
		}
	}
	if len(got) < len(f.acked) || len(got) > len(f.acked)+1 {
		t.Errorf("call %d: got %d entries, want the %d that were acknowledged and at most one more", f.at, len(got), len(f.acked))
	}
	dead := strings.HasPrefix(f.words, "dead ") && strings.Count(f.words, "\n") == 1
	if making := len(f.acked) == 0 && dead; !making && dead == goesOn || !dead && len(f.acked) != ingest {
		t.Errorf("call %d: got %d acknowledged and %q, want that it goes on: %v", f.at, len(f.acked), f.words, goesOn)
	}
}
