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

// child appends JOURNAL_COUNT readings, or until it is killed or the journal fails. It prints every acknowledged number,
// "no room" for a refusal, after which it tries again, and "dead" when the journal stays dead with one and the same error.
func child(path string) {
	count, err := strconv.Atoi(os.Getenv("JOURNAL_COUNT"))
	if err != nil {
		count = 100_000
	}
	j, err := journal.Open(path, time.Now)
	if err != nil {
		fmt.Println("dead", err)
		return
	}
	for i := 0; i < count; {
		e, err := j.Append(context.Background(), reading(i))
		switch {
		case err == nil:
			fmt.Println(e.Seq)
			i++
		case errors.Is(err, journal.ErrNoRoom):
			fmt.Println("no room")
		default:
			staysDead(j, err)
			return
		}
	}
}

func staysDead(j *journal.Journal, err error) {
	<-j.Failed()
	for range 5 {
		if _, again := j.Append(context.Background(), reading(0)); again != err || j.Err() != err {
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
}

// acknowledged reads a child's output to its end: the last number, and what else it said. Each number is told to seen.
func acknowledged(t *testing.T, cmd *exec.Cmd, path string, seen func(seq uint64)) (last uint64, words string) {
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
	for sc.Scan() {
		seq, err := strconv.ParseUint(sc.Text(), 10, 64)
		if err != nil {
			words += sc.Text() + "\n"
			continue
		}
		last = seq
		seen(seq)
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
		n := 0
		acked, words := acknowledged(t, cmd, path, func(uint64) {
			if n++; n == 20 {
				cmd.Process.Kill()
			}
		})
		if words != "" {
			t.Fatal(words)
		}
		holds(t, path, acked)
	}
}
