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

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/store/disktest"
)

// TestF18_FullDisk fills the disk under a working daemon with its private database. Its reserve takes what comes, then it
// refuses and says so, and once there is room the same process goes on.
func TestF18_FullDisk(t *testing.T) {
	t.Parallel()
	tries := faultTries(t, 1)
	data := folder(t)
	disk := disktest.Memory(t, data, fmt.Sprintf("%dm", 192+48*tries)) // the database grows too
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
		if n := strings.Count(p.log(), endedFor); n != try+1 {
			t.Errorf("got it said %d times in %d tries why it ended: %s", n, try+1, p.log())
		}
	}
	settled(t, "F17", tries, data, port, l)
}

// TestF19_DiskFreezes has the disk of the data folder take no write for a while. The wrench goes on sending and is not
// acknowledged, the page says since when, and all of it is recorded in order when the disk answers again.
func TestF19_DiskFreezes(t *testing.T) {
	for _, kind := range disktest.Kinds() {
		t.Run(kind, func(t *testing.T) {
			t.Parallel()
			tries := faultTries(t, 1)
			data := folder(t)
			disk := disktest.Loop(t, kind, data, 320<<20)
			pg := newPrivate(t) // on another disk: who looks at the page must be signed in
			p, port := newPeer(t, "semicolon-xor")
			d := start(t, data, pg.in(shopFile(port)))
			p.accept()
			v := newVisitor(t, d)
			v.setUp("Ada Holt")
			pull := func(n int64) { p.send(p.line(n, 30, 40, fmt.Sprintf("09:%02d:%02d", n/60, n%60))) }
			pull(1)
			p.expect("=1\r\n")
			for from := int64(2); from <= int64(tries)*sentFrozen; from += sentFrozen {
				thaw := disk.Freeze()
				defer thaw()
				for n := range int64(sentFrozen) {
					pull(from + n)
				}
				for !strings.Contains(d.Status().Disk, "The disk has not answered since") {
					time.Sleep(10 * time.Millisecond)
				}
				v.want(http.StatusOK, "The disk has not answered since", "GET", "/bench/1", nil)
				if wrong, good := undated(d.Status().Disk); good != 1 || len(wrong) > 0 {
					t.Errorf("got %q, want since when, with the zone", d.Status().Disk)
				}
				if h := d.links.health("TW-01"); h.readings != from-1 || h.tape.LeftOut() > 0 {
					t.Errorf("got %d readings acknowledged, %d bytes left out, want %d and none", h.readings, h.tape.LeftOut(), from-1)
				}
				thaw()
				for n := range int64(sentFrozen) {
					p.expect(fmt.Sprintf("=%d\r\n", from+n))
				}
				for d.Status().Disk != "" {
					time.Sleep(10 * time.Millisecond)
				}
			}
			committed(t, d)
			inOrder(t, d, "F19", tries)
			verified(t, t.Context(), pg.now.ConnString(), data)
		})
	}
}

// sentFrozen is how many readings come while the disk takes nothing: fewer than wait in the memory of a link.
const sentFrozen = 100

// inOrder makes sure that the journal has the readings 1, 2, 3 … and no other.
func inOrder(t *testing.T, d *Daemon, fault string, tries int) {
	t.Helper()
	entries, err := d.journal.Read(1, int(d.journal.Last()))
	if err != nil {
		t.Fatal(err)
	}
	var want int64
	for _, e := range entries {
		if r, is := e.Event.(audit.ReadingTaken); is {
			if want++; *r.Counter != want {
				t.Fatalf("got reading %d, want %d", *r.Counter, want)
			}
		}
	}
	if want != int64(tries)*sentFrozen+1 {
		t.Errorf("got %d readings, want %d", want, tries*sentFrozen+1)
	}
	t.Logf("FAULT %s tries=%d acknowledged=%d stored=%d lost=0 doubled=0 disordered=0", fault, tries, want, want)
}

// TestF20_TurnsReadOnly has the file system under the data folder find a fault in itself and turn read-only, under load. The
// daemon refuses as on a full disk, or ends because the fault came in the middle of a sync; after the disk was seen to all is
// there.
func TestF20_TurnsReadOnly(t *testing.T) {
	t.Parallel()
	tries := faultTries(t, 1)
	data := folder(t)
	disk := disktest.Loop(t, "ext4", data, 512<<20)
	w, port := newWrench(t)
	l := newLoad(t, w)
	c := control.NewClient(Folder(data).Socket())
	defer c.Close()
	for range tries {
		p := launch(t, data, port)
		drain(p)
		status(t, c, "some readings", func(st control.Status) bool { return st.Position > 2 })
		before := strings.Count(p.log(), endedFor)
		disk.Break()
		if st, ended := refusesOrEnds(t, c, p, before); !ended {
			refusesVisibly(t, c, st.Listen)
		}
		p.kill()
		disk.Unmount()
		disk.Check()
		disk.Mount()
	}
	settled(t, "F20", tries, data, port, l)
}

// refusesOrEnds waits until a daemon refuses because the disk is read-only, or ends for it, which its log had said before times
// already.
func refusesOrEnds(t *testing.T, c *control.Client, p *program, before int) (st control.Status, ended bool) {
	t.Helper()
	for late := time.Now().Add(time.Minute); time.Now().Before(late); time.Sleep(5 * time.Millisecond) {
		st, err := c.Status(t.Context())
		if err == nil && strings.Contains(st.Disk, readOnly) {
			return st, false
		}
		if err != nil && strings.Count(p.log(), endedFor) > before {
			return st, true
		}
	}
	t.Fatalf("got neither a refusal nor an end: %s", p.log())
	return st, false
}

const (
	readOnly = "The disk has been read-only since"
	endedFor = "no reading is acknowledged: see to the disk"
)

// TestF20_WritableAgain has the kernel refuse the journal's writes as a read-only file system does, and take them again: the same
// process goes on.
func TestF20_WritableAgain(t *testing.T) {
	t.Parallel()
	strace, err := exec.LookPath("strace")
	if err != nil {
		t.Skip("strace is not installed, it makes writes fail")
	}
	tries := faultTries(t, 2)
	data := folder(t)
	w, port := newWrench(t)
	l := newLoad(t, w)
	c := control.NewClient(Folder(data).Socket())
	defer c.Close()
	p := launch(t, data, port)
	drain(p)
	for range tries {
		tracer := exec.Command(strace, "-f", "-qq", "-o", os.DevNull, "-p", fmt.Sprint(p.cmd.Process.Pid), "-P", Folder(data).Journal(),
			"-e", "trace=pwrite64,ftruncate", "-e", "inject=pwrite64,ftruncate:error=EROFS")
		if err := tracer.Start(); err != nil {
			t.Fatal(err)
		}
		st := status(t, c, "a refusal", func(st control.Status) bool { return strings.Contains(st.Disk, readOnly) })
		refusesVisibly(t, c, st.Listen)
		if err := tracer.Process.Signal(os.Interrupt); err != nil { // it lets the daemon go
			t.Fatal(err)
		}
		_ = tracer.Wait() // the signal is all that it can tell
		again := status(t, c, "order again", func(now control.Status) bool { return now.Disk == "" && now.Entries > st.Entries })
		status(t, c, "the database again", func(now control.Status) bool { return now.Position > again.Entries })
	}
	p.kill()
	settled(t, "F20", tries, data, port, l)
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
