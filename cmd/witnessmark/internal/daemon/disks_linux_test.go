package daemon

import (
	"context"
	"fmt"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/store/disktest"
)

// TestF18_FullDisk fills the disk under a working daemon with its private database. Its reserve takes what comes, then it
// refuses and says so, and once there is room the same process goes on.
func TestF18_FullDisk(t *testing.T) {
	t.Parallel()
	tries := faultTries(t, 2)
	data := folder(t)
	disk := disktest.Memory(t, data, "256m")
	w, port := newWrench(t)
	p := launch(t, data, port)
	drain(p)
	c := control.NewClient(Folder(data).Socket())
	defer c.Close()
	l := newLoad(t, w)
	for range tries {
		l.pause.Store(int64(3 * time.Millisecond)) // the database keeps up
		before := status(t, c, "some readings", func(st control.Status) bool { return st.Position > 2 })
		disk.Fill()
		l.pause.Store(0)
		status(t, c, "the reserve in use", func(st control.Status) bool { return st.Disk != "" })
		st := status(t, c, "a refusal", func(st control.Status) bool { return strings.Contains(st.Disk, "takes nothing more") })
		if st.Entries == before.Entries {
			t.Error("got no entry into the reserve")
		}
		refusesVisibly(t, c, st.Listen)
		l.pause.Store(int64(3 * time.Millisecond))
		disk.Free()
		again := status(t, c, "order again", func(now control.Status) bool { return now.Disk == "" && now.Entries > st.Entries })
		status(t, c, "the database again", func(now control.Status) bool { return now.Position > again.Entries })
	}
	p.kill()
	settled(t, "F18", tries, data, port, l)
}

// TestF15_PowerCut cuts the power of the disk under the whole data folder, with its private database, while a wrench pulls
// without a pause. The image of the disk lies in a file, so a write that the file system sent off counts as kept: what a
// drive loses of its own memory is not shown.
func TestF15_PowerCut(t *testing.T) {
	for _, kind := range disktest.Kinds() {
		t.Run(kind, func(t *testing.T) {
			t.Parallel()
			tries := faultTries(t, 2)
			data := folder(t)
			disk := disktest.Loop(t, kind, data, 512<<20)
			w, port := newWrench(t)
			l := newLoad(t, w)
			moments := rand.New(rand.NewPCG(15, 1))
			for try := range tries {
				p := launch(t, data, port)
				drain(p)
				time.Sleep(time.Duration(100+moments.IntN(900)) * time.Millisecond)
				disk.Cut(try%2 == 0)
				p.kill()
				disk.Unmount()
				disk.Mount()
			}
			settled(t, "F15", tries, data, port, l)
		})
	}
}

// TestF17_SyncFails has the kernel refuse a sync of the journal under a working daemon, an earlier one each time and as the
// first of a start too: the daemon ends and says why, and the next start reads back what is there.
func TestF17_SyncFails(t *testing.T) {
	t.Parallel()
	strace, err := exec.LookPath("strace")
	if err != nil {
		t.Skip("strace is not installed, it makes a sync fail")
	}
	tries := faultTries(t, 3)
	w, port := newWrench(t)
	data := folder(t)
	l := newLoad(t, w)
	launch(t, data, port).kill()
	for try := range tries {
		p := begin(t, []string{strace, "-f", "-qq", "--seccomp-bpf", "-o", os.DevNull, "-P", Folder(data).Journal(), "-e", "trace=fdatasync",
			"-e", fmt.Sprintf("inject=fdatasync:error=EIO:when=%d", tries-try)}, data, port)
		p.drain()
		if err := p.cmd.Wait(); err == nil {
			t.Error("got exit code 0, want another one: the journal can no longer be written")
		}
		if n := strings.Count(p.log(), "no reading is acknowledged"); n != try+1 {
			t.Errorf("got it said %d times in %d tries why it ended: %s", n, try+1, p.log())
		}
	}
	settled(t, "F17", tries, data, port, l)
}

// refusesVisibly looks at a daemon whose disk is full the way people, programs and the service manager do. A few bytes may
// become free and be used up again at any time, so each look is repeated until it finds the refusal.
func refusesVisibly(t *testing.T, c *control.Client, listen string) {
	t.Helper()
	status(t, c, "a person refused, and told what to do", func(now control.Status) bool {
		text := strings.Replace(caps, `revision: "1"`, fmt.Sprintf(`revision: "%d"`, now.Entries), 1)
		_, err := c.AddProcedure(t.Context(), control.NewProcedure{File: "caps.yaml", Text: text})
		return err != nil && strings.Contains(err.Error(), "this was not recorded: make room on it")
	})
	status(t, c, "the reason at /-/ready", func(control.Status) bool {
		code, text := fetch(t, listen, "/-/ready")
		return code == http.StatusServiceUnavailable && strings.Contains(text, "no wrench is acknowledged")
	})
	status(t, c, "the figure", func(control.Status) bool {
		_, text := fetch(t, listen, "/metrics")
		return strings.Contains(text, "witnessmark_journal_refusing 1")
	})
}

// status waits until the daemon says the right thing of itself.
func status(t *testing.T, c *control.Client, what string, right func(control.Status) bool) control.Status {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	var last control.Status
	for {
		st, err := c.Status(ctx)
		if err == nil && right(st) {
			return st
		}
		if ctx.Err() != nil {
			t.Fatalf("got %+v, want %s", last, what)
		}
		last = st
		time.Sleep(5 * time.Millisecond)
	}
}
