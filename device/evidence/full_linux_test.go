package evidence

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"golang.org/x/sys/unix"
)

// disk is a place to write that can be full.
type disk struct {
	folder string
	full   func() // from now on it takes little or nothing
	room   func()
	why    error
}

// disks are a file system of 128 KiB, where this process may mount one, and a limit on the size of a file, which the
// system grants anybody and which stops a write in the middle just the same.
func disks(t *testing.T) map[string]disk {
	must := func(err error) {
		if err != nil {
			t.Fatal(err)
		}
	}
	folder := t.TempDir()
	limited := disk{folder: folder, why: syscall.EFBIG}
	var was unix.Rlimit
	must(unix.Getrlimit(unix.RLIMIT_FSIZE, &was))
	limited.full = func() { must(unix.Setrlimit(unix.RLIMIT_FSIZE, &unix.Rlimit{Cur: 60_001, Max: was.Max})) }
	limited.room = func() { must(unix.Setrlimit(unix.RLIMIT_FSIZE, &was)) }
	t.Cleanup(limited.room)
	all := map[string]disk{"a file may grow no more": limited}

	small := t.TempDir()
	if err := unix.Mount("none", small, "tmpfs", 0, "size=128k"); err != nil {
		t.Logf("no small file system beside it: %v", err)
		return all
	}
	t.Cleanup(func() { must(unix.Unmount(small, unix.MNT_DETACH)) })
	other := filepath.Join(small, "other")
	all["a file system is full"] = disk{folder: small, why: syscall.ENOSPC,
		full: func() {
			f, err := os.Create(other)
			must(err)
			for err == nil {
				_, err = f.Write(make([]byte, 4096))
			}
			must(f.Close())
		},
		room: func() { must(os.Remove(other)) }}
	return all
}

// troubles collects what a Tape tells.
type troubles struct {
	mu   sync.Mutex
	list []error
}

func (tr *troubles) tell(err error) {
	tr.mu.Lock()
	defer tr.mu.Unlock()
	tr.list = append(tr.list, err)
}

func (tr *troubles) told() []error {
	tr.mu.Lock()
	defer tr.mu.Unlock()
	return slices.Clone(tr.list)
}

// A disk that is full stops no reader. What comes waits as long as there is memory for it, then it is counted, and when
// there is room again it goes on; that is said once and once.
func TestTape_DiskFull(t *testing.T) {
	for name, d := range disks(t) {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				var trouble troubles
				const waiting = 8 << 10
				tape := open(t, d.folder, Options{Limits: Limits{Waiting: waiting}, Trouble: trouble.tell})
				var came []byte
				n := 0
				take := func(bytes int) {
					for end := len(came) + bytes; len(came) < end; n++ {
						b := fmt.Appendf(nil, "%06d", n)
						tape.Took(time.Now(), b)
						came = append(came, b...)
					}
				}
				take(100)
				synctest.Wait()
				d.full()
				for range 200 { // enough for the file's rest, the writer's hands and the memory
					take(waiting / 16)
					synctest.Wait()
				}
				time.Sleep(3 * pause) // tried in vain
				take(100)
				tape.Gone(time.Now())
				tape.Gone(time.Now())
				synctest.Wait()
				if told := trouble.told(); len(told) != 1 || !errors.Is(told[0], d.why) || !strings.Contains(told[0].Error(), "make room on the disk of "+d.folder) {
					t.Fatalf("got %v, want %v once", told, d.why)
				}
				d.room()
				time.Sleep(pause)
				synctest.Wait()
				if told := trouble.told(); len(told) != 2 || told[1] != nil {
					t.Fatalf("got %v, want the end of it", told)
				}
				take(100)
				end(t, tape)
				got := tell(t, filepath.Join(d.folder, "TW-01"))
				if got.is(t, came); got.left == 0 || got.left != tape.LeftOut() || got.gones != 2 {
					t.Errorf("got %d bytes and %d times left out, %d counted, want some and 2", got.left, got.gones, tape.LeftOut())
				}
				if len(got.files) != 1 {
					t.Errorf("got %d files, want the same one all the time", len(got.files))
				}
			})
		})
	}
}

// A disk with no room even for a header leaves no files behind.
func TestTape_DiskFullFromTheStart(t *testing.T) {
	for name, d := range disks(t) {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				var trouble troubles
				tape := open(t, d.folder, Options{Profile: strings.Repeat("p", 70_000), Trouble: trouble.tell})
				d.full()
				tape.Took(time.Now(), []byte("#1"))
				time.Sleep(3 * pause)
				synctest.Wait()
				if files, err := filesIn(filepath.Join(d.folder, "TW-01")); len(files) != 0 || err != nil || len(trouble.told()) != 1 {
					t.Errorf("got files %v, %v, told %v, want none, told once", files, err, trouble.told())
				}
				d.room()
				time.Sleep(pause)
				synctest.Wait()
				end(t, tape)
				if got := tell(t, filepath.Join(d.folder, "TW-01")); string(got.bytes) != "#1" {
					t.Errorf("got %q, want #1", got.bytes)
				}
			})
		})
	}
}

// The end of the daemon does not wait for room. What is lost then is said.
func TestTape_CloseOnFullDisk(t *testing.T) {
	for name, d := range disks(t) {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				tape := open(t, d.folder, Options{})
				d.full()
				defer d.room()
				began := time.Now()
				var came []byte
				for range 3 {
					b := bytes.Repeat([]byte("5"), 40_000)
					tape.Took(time.Now(), b)
					came = append(came, b...)
					synctest.Wait()
				}
				err := tape.Close()
				if time.Since(began) != 0 || !errors.Is(err, d.why) || !strings.Contains(err.Error(), fmt.Sprintf("%d bytes could not", tape.LeftOut())) {
					t.Errorf("got %v after %v, want %v and the number %d at once", err, time.Since(began), d.why, tape.LeftOut())
				}
				got := tell(t, filepath.Join(d.folder, "TW-01"))
				if lost := int64(len(came) - len(got.bytes)); lost == 0 || lost != tape.LeftOut() {
					t.Errorf("got %d bytes counted as left out, want %d", tape.LeftOut(), lost)
				}
				got.is(t, came[:len(got.bytes)])
			})
		})
	}
}

// A disk that gives no answer, for which the test holds the writer, stops neither the reader nor the end.
func TestTape_DiskStuck(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		folder, answer := t.TempDir(), make(chan struct{})
		tape := open(t, folder, Options{Limits: Limits{Waiting: 1000}, Trouble: func(error) { <-answer }})
		own := filepath.Join(folder, "TW-01")
		if err := errors.Join(os.Remove(own), os.WriteFile(own, nil, fileFor)); err != nil { // in the way
			t.Fatal(err)
		}
		var came []byte
		for n := range 1000 {
			b := fmt.Appendf(nil, "%06d", n)
			tape.Took(time.Now(), b)
			came = append(came, b...)
			synctest.Wait()
		}
		began := time.Now()
		if err := tape.Close(); !errors.Is(err, ErrStuck) || time.Since(began) != grace {
			t.Errorf("got %v after %v, want %v after %v", err, time.Since(began), ErrStuck, grace)
		}
		if err := os.Remove(own); err != nil {
			t.Fatal(err)
		}
		close(answer)
		end(t, tape)
		got := tell(t, own)
		if got.is(t, came); got.left == 0 || got.left != tape.LeftOut() {
			t.Errorf("got %d bytes left out, %d counted, want the same and some", got.left, tape.LeftOut())
		}
		if want := 1 + 1000/(6+weight); len(got.times) != want {
			t.Errorf("got %d chunks kept, want %d: the first in the writer's hands, and what there is memory for", len(got.times), want)
		}
	})
}
