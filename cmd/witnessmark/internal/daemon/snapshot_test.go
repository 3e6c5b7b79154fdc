package daemon

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
)

// ordinary in the environment of a child lets it take snapshots as seldom as a shop does.
const ordinary = "WITNESSMARK_TEST_SNAPSHOTS"

// Every other daemon in these tests takes snapshots all the time, and every start begins with one.
func init() {
	if os.Getenv(ordinary) == "" {
		snapshotEvery, snapshotAtEnd, snapshotLook = 1, 1, 50*time.Millisecond
	}
}

// putBy is the data folder of a daemon that was stopped, with so many builds that the first one was put away.
func putBy(t *testing.T) (w *wrench, data, file string, build uint64) {
	t.Helper()
	w, port := newWrench(t)
	data, file = t.TempDir(), shopFile(port)
	d := start(t, data, file)
	c := client(t, d)
	onBench(t, c)
	v := view(t, d)
	for _, target := range []int64{30, 60} {
		for range 4 {
			w.pull(t, target, 40)
		}
	}
	if _, err := c.Answer(t.Context(), "1", control.Answer{Check: "end-float", Value: "0.12 mm", Yes: true, Person: "Ada Holt"}); err != nil {
		t.Fatal(err)
	}
	committed(t, d)
	if _, err := c.CloseJoint(t.Context(), "1", control.Close{Person: "Ada Holt"}); err != nil {
		t.Fatal(err)
	}
	for i := range 25 {
		if _, err := c.OpenBuild(t.Context(), control.NewBuild{Engine: fmt.Sprint("E-", i), Family: "TB-7", WorkOrder: fmt.Sprint("W-", i), Person: "Ada Holt"}); err != nil {
			t.Fatal(err)
		}
	}
	committed(t, d)
	stopDaemon(t, d)
	return w, data, file, v.Build
}

func view(t *testing.T, d *Daemon) (v bench.View) {
	t.Helper()
	d.live.look(func(s *bench.Shop) { v = s.View("1") })
	return v
}

func snapshotOf(t *testing.T, data string) (head heading, body []byte) {
	t.Helper()
	text, err := os.ReadFile(Folder(data).Snapshot())
	if err != nil {
		t.Fatal(err)
	}
	line, body, _ := bytes.Cut(text, []byte("\n"))
	if err := json.Unmarshal(line, &head); err != nil {
		t.Fatal(err)
	}
	return head, body
}

// stands is the text of everything that the live follower of a new daemon holds.
func stands(t *testing.T, d *Daemon) string {
	t.Helper()
	_, parts, err := d.snapshots.take()
	if err != nil {
		t.Fatal(err)
	}
	return string(bytes.SplitN(bytes.Join(parts, nil), []byte("\n"), 3)[2])
}

// A start from a snapshot holds what a start from the first entry holds, whatever became of the snapshot's files.
func TestSnapshot_StartFromIt(t *testing.T) {
	_, data, file, build := putBy(t)
	head, _ := snapshotOf(t, data)
	defer func(often time.Duration) { snapshotLook = often }(snapshotLook)
	snapshotLook = time.Hour // one that is taken meanwhile would stand where the one of the start is looked for
	var last uint64
	want := ""
	for name, harm := range map[string]func(t *testing.T, at Folder){
		"sound":              func(*testing.T, Folder) {},
		"gone":               func(t *testing.T, at Folder) { must(t, os.Remove(at.Snapshot())) },
		"its end is missing": func(t *testing.T, at Folder) { change(t, at.Snapshot(), func(b []byte) []byte { return b[:len(b)-9] }) },
		"a bit is turned": func(t *testing.T, at Folder) {
			change(t, at.Snapshot(), func(b []byte) []byte { b[len(b)/2] ^= 1; return b })
		},
		"empty":                func(t *testing.T, at Folder) { change(t, at.Snapshot(), func([]byte) []byte { return nil }) },
		"of another form":      func(t *testing.T, at Folder) { change(t, at.Snapshot(), swap(head.Form, strings.Repeat("0", 64))) },
		"of another journal":   func(t *testing.T, at Folder) { change(t, at.Snapshot(), swap(head.Entry, strings.Repeat("0", 64))) },
		"the shelf is gone":    func(t *testing.T, at Folder) { must(t, os.Remove(at.Shelf())) },
		"the shelf is cut off": func(t *testing.T, at Folder) { change(t, at.Shelf(), func(b []byte) []byte { return b[:len(b)-1] }) },
		"the shelf is of a later": func(t *testing.T, at Folder) {
			change(t, at.Shelf(), func(b []byte) []byte { return append(b, "half a con"...) })
		},
	} {
		t.Run(name, func(t *testing.T) {
			to := filepath.Join(t.TempDir(), "data")
			copyFolder(t, data, to)
			harm(t, Folder(to))
			d := start(t, to, file)
			defer stopDaemon(t, d)
			if last == 0 {
				last = d.journal.Last()
			}
			if at := d.snapshots.at.Load(); (at == head.Seq) != (name == "sound" || name == "the shelf is of a later") {
				t.Errorf("got a start from the snapshot at %d, which was at %d", at, head.Seq)
			}
			d.live.look(func(s *bench.Shop) {
				if j := s.Joints(build); len(j) != 1 || !j[0].Complete || s.Seq() != last {
					t.Errorf("got %+v at entry %d, want the joint complete, at %d", j, s.Seq(), last)
				}
			})
			if want == "" {
				want = stands(t, d)
			}
			if got := stands(t, d); got != want {
				t.Errorf("got another shop:\n%s\n%s", got, want)
			}
		})
	}
	if head.Seq+1 < last || head.Seq == 0 {
		t.Errorf("got a snapshot at %d of %d entries, want one of the stop", head.Seq, last)
	}
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func change(t *testing.T, path string, to func([]byte) []byte) {
	t.Helper()
	b, err := os.ReadFile(path)
	must(t, err)
	must(t, os.WriteFile(path, to(b), 0o600))
}

func swap(old, new string) func([]byte) []byte {
	return func(b []byte) []byte { return bytes.Replace(b, []byte(old), []byte(new), 1) }
}

// A wrench that sends again what it sent before the start is known from the snapshot.
func TestSnapshot_RemembersReadings(t *testing.T) {
	w, data, file, _ := putBy(t)
	d := start(t, data, file)
	defer stopDaemon(t, d)
	before := d.journal.Last()
	w.count--
	w.pull(t, 60, 40) // the line that came last
	committed(t, d)
	if d.journal.Last() != before {
		t.Errorf("got %d new entries, want none: the reading came before the start", d.journal.Last()-before)
	}
}
