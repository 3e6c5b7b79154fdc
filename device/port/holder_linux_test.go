package port

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"witnessmark/device/port/plugtest"
)

// another starts a program that has the port open, and gives its number.
func another(t *testing.T, path string) int {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), holdEnv+"="+path)
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { in.Close(); cmd.Wait() })
	if said, err := bufio.NewReader(out).ReadString('\n'); said != "held\n" {
		t.Fatalf("got %q, %v, want the port held", said, err)
	}
	return cmd.Process.Pid
}

func TestSerial_NamesTheHolder(t *testing.T) {
	s := plugtest.New(t)
	s.Plug()
	pid := another(t, s.Path)
	_, err := OpenSerial(t.Context(), s.Path, nine600)
	says := fmt.Sprintf("another program uses %s: end %s (process %d)", s.Path, own(t), pid)
	if err == nil || !strings.Contains(err.Error(), says) {
		t.Errorf("got %v, want an error that says %q", err, says)
	}
}

func TestHolders(t *testing.T) {
	s := plugtest.New(t)
	s.Plug() // which this program has open
	want := []Holder{{os.Getpid(), own(t)}, {another(t, s.Path), own(t)}}
	slices.SortFunc(want, func(a, b Holder) int { return a.PID - b.PID })
	for name, path := range map[string]string{"by a stable name": s.Path, "by its node": s.Device()} {
		t.Run(name, func(t *testing.T) {
			if got := Holders(path); !slices.Equal(got, want) {
				t.Errorf("got %v, want %v", got, want)
			}
		})
	}
	for name, path := range map[string]string{"a port that is not there has none": filepath.Join(t.TempDir(), "none"), "nor has a file": os.Args[0]} {
		t.Run(name, func(t *testing.T) {
			if got := Holders(path); got != nil {
				t.Errorf("got %v, want none", got)
			}
		})
	}
}

// own is what the system calls this program.
func own(t *testing.T) string {
	t.Helper()
	name, err := os.ReadFile("/proc/self/comm")
	if err != nil {
		t.Fatal(err)
	}
	return strings.TrimSpace(string(name))
}
