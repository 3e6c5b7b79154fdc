package journal_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"witnessmark/store/journal"
)

func TestMain(m *testing.M) {
	if path := os.Getenv("JOURNAL_CHILD"); path != "" {
		child(path)
		os.Exit(0)
	}
	goleak.VerifyTestMain(m)
}

// child appends until it is killed or the journal fails. It prints every acknowledged number, then "dead" when the
// journal stays dead with one and the same error.
func child(path string) {
	j, err := journal.Open(path, time.Now)
	if err != nil {
		panic(err)
	}
	for i := range 100_000 {
		e, err := j.Append(context.Background(), reading(i))
		if err == nil {
			fmt.Println(e.Seq)
			continue
		}
		<-j.Failed()
		for range 5 {
			if _, again := j.Append(context.Background(), reading(i)); again != err || j.Err() != err {
				fmt.Println("got", again, "after", err)
			}
		}
		if got, err := j.Read(1, 1<<30); err != nil || uint64(len(got)) != j.Last() {
			fmt.Println("got", len(got), "entries of", j.Last(), err)
		}
		if err := j.Close(); err != nil {
			fmt.Println(err)
		}
		fmt.Println("dead", err)
		return
	}
}

// acknowledged reads a child's output to its end: the last number, and what else it said. Each line is told to seen.
func acknowledged(t *testing.T, cmd *exec.Cmd, path string, seen func(n int)) (last uint64, words string) {
	t.Helper()
	cmd.Env = append(append(os.Environ(), cmd.Env...), "JOURNAL_CHILD="+path)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	sc := bufio.NewScanner(out)
	for n := 1; sc.Scan(); n++ {
		if seq, err := strconv.ParseUint(sc.Text(), 10, 64); err == nil {
			last = seq
		} else {
			words += sc.Text() + "\n"
		}
		seen(n)
	}
	cmd.Wait()
	return last, words
}

func holds(t *testing.T, path string, acked uint64) {
	t.Helper()
	j := open(t, path)
	defer j.Close()
	got, err := j.Read(1, 1<<30)
	if err != nil || uint64(len(got)) < acked || acked == 0 {
		t.Fatalf("got %d entries, %v, want at least the %d acknowledged", len(got), err, acked)
	}
	if e, err := j.Append(t.Context(), reading(0)); err != nil || e.Seq != uint64(len(got))+1 {
		t.Errorf("got entry %d, %v, want the next, %d", e.Seq, err, len(got)+1)
	}
}

// TestJournal_Killed kills a writing process with SIGKILL: whatever it had acknowledged must be there.
func TestJournal_Killed(t *testing.T) {
	path := filepath.Join(t.TempDir(), "j.db")
	for range 3 {
		cmd := exec.Command(os.Args[0])
		acked, words := acknowledged(t, cmd, path, func(n int) {
			if n == 20 {
				cmd.Process.Kill()
			}
		})
		if words != "" {
			t.Fatal(words)
		}
		holds(t, path, acked)
	}
}

// TestJournal_FailedSync makes the kernel refuse a sync: the journal must not try again, though the next would succeed.
func TestJournal_FailedSync(t *testing.T) {
	strace, err := exec.LookPath("strace")
	if errors.Is(err, exec.ErrNotFound) {
		t.Skip("strace is not installed, it makes the sync fail")
	}
	if out, err := exec.Command(strace, "-qq", "-e", "trace=none", "true").CombinedOutput(); err != nil {
		t.Skipf("strace may not trace here: %v: %s", err, out)
	}
	path := filepath.Join(t.TempDir(), "j.db")
	open(t, path).Close()
	cmd := exec.Command(strace, "-f", "-qq", "-o", os.DevNull, "-e", "trace=fdatasync,fsync",
		"-e", "inject=fdatasync,fsync:error=EIO:when=6", os.Args[0])
	acked, words := acknowledged(t, cmd, path, func(int) {})
	if !strings.HasPrefix(words, "dead write journal "+path+": input/output error") || strings.Count(words, "\n") != 1 {
		t.Errorf("got %q, want the journal dead for good", words)
	}
	holds(t, path, acked)
}
