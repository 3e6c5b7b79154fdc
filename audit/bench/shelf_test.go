package bench_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/audit/bench"
)

// board is a shelf of so many places.
type board struct {
	contents [][]byte
	full     bool
	lost     bool
}

func (b *board) Put(content []byte) (int64, bool) {
	if b.full {
		return 0, false
	}
	b.contents = append(b.contents, slices.Clone(content))
	return int64(len(b.contents)) - 1, true
}

func (b *board) Get(place int64) ([]byte, error) {
	if b.lost {
		return nil, errors.New("the shelf is gone")
	}
	return b.contents[place], nil
}

// A released build lies on the shelf and nowhere else, and is taken from there for whatever looks at it.
func TestShelf_ReleasedBuild(t *testing.T) {
	for name, full := range map[string]bool{"on the shelf": false, "no room on it": true} {
		t.Run(name, func(t *testing.T) {
			f := finished(t)
			shelf := f.shelf.(*board)
			shelf.full = full
			before := len(shelf.contents)
			f.refused(audit.JointStarted{Bench: "B1", Build: 4, Joint: "none", Person: "p1"}, "has no joint \"none\"") // taken out for this, and put away again
			if got, want := len(shelf.contents)-before, map[bool]int{false: 1, true: 0}[full]; got != want {
				t.Fatalf("got %d contents more on the shelf, want %d", got, want)
			}
			before = len(shelf.contents)
			f.must(f.release())
			if got := len(shelf.contents) - before; got != 0 {
				t.Fatalf("got %d contents more on the shelf, want none: it is released as it lies", got)
			}
			shelf.lost = full // nobody asks it
			if j := f.shop.Joints(4); len(j) != 1 || !j[0].Complete {
				t.Errorf("got %+v, want the joint complete", j)
			}
			if rv, err := f.shop.Review(4); err != nil || len(rv.Blocking()) != 0 {
				t.Errorf("got %+v, %v, want nothing in the way", rv.Blocking(), err)
			}
			if err := f.shop.Refusal(f.shop.Correcting(audit.CorrectionMade{Reading: 16, Fastener: "3", Person: "p1", Reason: "seen"})); err == nil || !strings.Contains(err.Error(), "is released") {
				t.Errorf("got %v, want the reading found and its build released", err)
			}
			f.must(audit.BuildReopened{Build: 4, Person: "p1", Reason: "a bolt was heard"})
			if m := f.correct(16, "3", ""); len(m) != 1 || m[0].Fastener != "3" || m[0].No != 2 {
				t.Errorf("got %+v, want reading 16 as fastener 3", m)
			}
		})
	}
}

// A build of which a joint could still be gone on with is put away anew by its release, with that at rest.
func TestShelf_ReleasedUnfinished(t *testing.T) {
	f := newFloor(t)
	f.must(audit.PersonAdded{Person: "p2", Name: "Odo Brandt"})
	f.snugAll()
	f.must(audit.JointClosed{Bench: "B1", Run: 5, Person: "p1"})
	rv, err := f.shop.Review(4)
	if err != nil || len(rv.Blocking()) == 0 {
		t.Fatalf("got %+v, %v, want something in the way of a joint that was left", rv, err)
	}
	for _, finding := range rv.Blocking() {
		f.must(f.shop.Conceding(concession(finding.ID)))
	}
	shelf := f.shelf.(*board)
	before := len(shelf.contents)
	f.must(f.release())
	if got := len(shelf.contents) - before; got != 1 {
		t.Errorf("got %d contents more on the shelf, want 1", got)
	}
	if j := f.shop.Joints(4); len(j) != 1 || j[0].Complete {
		t.Errorf("got %+v, want one joint, left", j)
	}
}

func TestShelf_LostContent(t *testing.T) {
	f := finished(t)
	f.must(f.release())
	f.shelf.(*board).lost = true
	defer func() {
		if err, _ := recover().(error); err == nil || !strings.Contains(err.Error(), "content of build 4") {
			t.Errorf("got %v, want a panic that names the build", err)
		}
	}()
	_, _ = f.shop.Review(4)
}

func TestRestored_NoSnapshot(t *testing.T) {
	for _, text := range []string{"", "{", `{"Seq": "x"}`} {
		if _, err := bench.Restored([]byte(text), nil); err == nil {
			t.Errorf("%q: got no error", text)
		}
	}
}
