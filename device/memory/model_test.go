package memory

import (
	"bytes"
	"reflect"
	"slices"
	"testing"

	"pgregory.net/rapid"
	"witnessmark/device"
)

// ledger is a Memory as one would write it without a bound: every reading is there, and every question goes through
// all of them.
type ledger []device.Reading

func (l ledger) epoch() int64 {
	if len(l) == 0 {
		return 0
	}
	return l[len(l)-1].Epoch
}

// counts lists what came in the present epoch, in the order of coming.
func (l ledger) counts() (counts []int64) {
	for _, r := range l {
		if r.Epoch == l.epoch() && r.Counter != nil {
			counts = append(counts, *r.Counter)
		}
	}
	return counts
}

func sameLine(a, b device.Reading) bool {
	if bytes.Equal(a.Raw, b.Raw) {
		return true
	}
	a.Raw, a.Stored, a.Battery, a.Epoch, a.Skipped, a.Repeat = b.Raw, b.Stored, b.Battery, b.Epoch, b.Skipped, b.Repeat
	return (b.Clock != "" || b.Stored) && reflect.DeepEqual(a, b)
}

func (l ledger) look(r *device.Reading) bool {
	known := l
	switch {
	case r.Clock != "":
	case r.Counter == nil:
		known = l[max(0, len(l)-1):]
	default:
		known = slices.DeleteFunc(slices.Clone(l), func(old device.Reading) bool { return old.Epoch < l.epoch()-1 })
	}
	r.Repeat = slices.ContainsFunc(known, func(old device.Reading) bool {
		if r.Counter == nil && r.Clock == "" {
			return bytes.Equal(old.Raw, r.Raw)
		}
		return sameLine(old, *r)
	})
	r.Epoch, r.Skipped = l.epoch(), 0
	counts := l.counts()
	if r.Counter == nil {
		return false
	}
	if len(counts) == 0 {
		return r.Repeat
	}
	count, highest := *r.Counter, slices.Max(counts)
	switch {
	case r.Repeat && (r.Clock != "" || count != highest+1):
		return true
	case count > highest:
		r.Skipped = count - highest - 1
	case r.Stored && count < counts[0]:
	case count > counts[0] && !slices.Contains(counts, count): // it was skipped
	default:
		r.Epoch++
	}
	return false
}

func drawn(t *rapid.T) device.Reading {
	r := sends(rapid.Int64Range(none, 12).Draw(t, "count"), rapid.SampledFrom([]string{"45.0", "45.1"}).Draw(t, "torque"),
		rapid.SampledFrom([]string{"", "", "9:41", "9:42"}).Draw(t, "clock"))
	if rapid.Bool().Draw(t, "from memory") {
		r = stored(r)
	}
	if rapid.Bool().Draw(t, "battery") {
		r = battery(r, rapid.Int64Range(0, 1).Draw(t, "percent"))
	}
	return r
}

// Whatever comes, a Memory finds what a list of everything finds, changes nothing by looking, and is the same after
// what was kept is replayed.
func TestMemory_IsTheList(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, all := New(), ledger{}
		replayed := func() *Memory {
			again := New()
			for _, r := range all {
				keep(again, r)
			}
			return again
		}
		t.Repeat(map[string]func(*rapid.T){
			"": func(t *rapid.T) {
				if got := replayed(); !reflect.DeepEqual(got, m) {
					t.Fatalf("after a replay: got %+v, want %+v", got, m)
				}
			},
			"restart": func(*rapid.T) { m = replayed() },
			"come": func(t *rapid.T) {
				got := drawn(t)
				if len(all) > 0 && rapid.Bool().Draw(t, "one of the next counts") {
					next := m.highest + rapid.Int64Range(1, 2).Draw(t, "on by")
					got.Counter = &next
					got = written(got)
				}
				want := got
				resent, known := m.Look(&got), all.look(&want)
				if resent != known {
					t.Fatalf("%q: got sent again %v, want %v", got.Raw, resent, known)
				}
				if resent {
					return
				}
				if !reflect.DeepEqual(got, want) {
					t.Fatalf("%q: got %+v, want %+v", got.Raw, got, want)
				}
				if kept := replayed(); !reflect.DeepEqual(kept, m) {
					t.Fatalf("after looking: got %+v, want %+v", m, kept)
				}
				keep(m, got)
				all = append(all, got)
			},
		})
	})
}

// wrench has a memory of all its pulls and sends from it what it likes. What it cannot do, unlike the wrenches of
// TestMemory_IsTheList, is to say something untrue.
type wrench struct {
	counter, clock bool
	count          int64
	pulls          []device.Reading
	reached        map[int]bool // by place in pulls: the line reached us at least once
}

// pull gives the next reading its count and its time.
func (w *wrench) pull(t *rapid.T) int {
	w.count++
	count, clock := int64(none), ""
	if w.counter {
		count = w.count
	}
	if w.clock {
		clock = time(len(w.pulls))
	}
	w.pulls = append(w.pulls, sends(count, rapid.SampledFrom([]string{"45.0", "45.1", "45.2"}).Draw(t, "torque"), clock))
	return len(w.pulls) - 1
}

// time is a clock of which no two are the same.
func time(n int) string { return string(rune('a'+n/26)) + string(rune('a'+n%26)) }

// receiver is what a daemon keeps of what comes.
type receiver struct {
	m    *Memory
	kept []device.Reading
	from []int // by place in kept: which pull that is in truth
}

func (d *receiver) take(w *wrench, n int) device.Reading {
	r, resent := offer(d.m, w.pulls[n])
	if !resent {
		d.kept, d.from = append(d.kept, r), append(d.from, n)
	}
	w.reached[n] = true
	return r
}

func (d *receiver) restart() {
	d.m = New()
	for _, r := range d.kept {
		keep(d.m, r)
	}
}

// once fails unless every pull that reached us is kept exactly once.
func (d *receiver) once(t *rapid.T, w *wrench) {
	got := slices.Sorted(slices.Values(d.from))
	var want []int
	for n := range w.pulls {
		if w.reached[n] {
			want = append(want, n)
		}
	}
	if !slices.Equal(got, want) {
		t.Fatalf("got pulls %v kept, want %v", got, want)
	}
}

// F11: a wrench sends from its memory whatever it likes, in any order, as often as it likes, in any of its modes,
// across restarts of the daemon, and across counters that begin anew where it sends its clock.
func TestMemory_EachOnce(t *testing.T) {
	for name, kind := range map[string]wrench{
		"with a counter and a clock": {counter: true, clock: true},
		"with a counter":             {counter: true},
	} {
		t.Run(name, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				w, d := kind, receiver{m: New()}
				w.reached = map[int]bool{}
				actions := map[string]func(*rapid.T){
					"":     func(t *rapid.T) { d.once(t, &w) },
					"pull": func(t *rapid.T) { d.take(&w, w.pull(t)) },
					"lose": func(t *rapid.T) {
						if w.clock || len(d.kept) > 0 { // else what is sent from memory later seems to have begun anew
							w.pull(t)
						}
					},
					"restart": func(*rapid.T) { d.restart() },
					"send memory again": func(t *rapid.T) {
						if len(w.pulls) == 0 {
							return
						}
						order := rapid.Permutation(slices.Collect(intsTo(len(w.pulls)))).Draw(t, "order")
						for _, n := range order[:rapid.IntRange(1, len(order)).Draw(t, "number")] {
							if rapid.Bool().Draw(t, "marked as from memory") {
								w.pulls[n] = stored(w.pulls[n])
							}
							d.take(&w, n)
						}
					},
				}
				if w.clock {
					actions["begin anew"] = func(*rapid.T) { w.count = 0 }
				}
				t.Repeat(actions)
			})
		})
	}
}

func intsTo(n int) func(func(int) bool) {
	return func(yield func(int) bool) {
		for i := range n {
			if !yield(i) {
				return
			}
		}
	}
}

// Where neither clock nor bytes tell an epoch from the one before, the promise is less, and this is it: nothing that
// comes when its count is the next to come is lost, and nothing is kept twice without the word that it may be.
func TestMemory_CounterBeginsAnewWithoutClock(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, d := wrench{counter: true, reached: map[int]bool{}}, receiver{m: New()}
		begun := true // nothing came since the counter began anew
		t.Repeat(map[string]func(*rapid.T){
			"pull": func(t *rapid.T) {
				n := w.pull(t)
				next := *w.pulls[n].Counter == d.m.highest+1
				d.take(&w, n)
				if kept := slices.Contains(d.from, n); !kept && next && !begun {
					t.Fatalf("got %q lost, though its count was the next", w.pulls[n].Raw)
				}
				begun = begun && !slices.Contains(d.from, n)
			},
			"begin anew": func(*rapid.T) { w.count, begun = 0, true },
			"restart":    func(*rapid.T) { d.restart() },
			"send one again": func(t *rapid.T) {
				if len(d.from) == 0 {
					return
				}
				n := rapid.SampledFrom(d.from).Draw(t, "which")
				if d.m.epoch-d.kept[slices.Index(d.from, n)].Epoch > 1 {
					return // beyond the two epochs
				}
				before := len(d.kept)
				if r := d.take(&w, n); len(d.kept) > before && !r.Repeat {
					t.Fatalf("got %q kept twice without a word", r.Raw)
				}
			},
		})
	})
}

// A wrench without a counter never loses a pull, and says of one that equals the line before that it may be a repeat.
func TestMemory_WithoutCounterNothingIsLost(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := wrench{clock: rapid.Bool().Draw(t, "clock"), reached: map[int]bool{}}
		d := receiver{m: New()}
		t.Repeat(map[string]func(*rapid.T){
			"pull": func(t *rapid.T) {
				n := w.pull(t)
				equal := n > 0 && bytes.Equal(w.pulls[n-1].Raw, w.pulls[n].Raw)
				if r := d.take(&w, n); r.Repeat != equal {
					t.Fatalf("%q after %q: got possible repeat %v, want %v", r.Raw, w.pulls[max(0, n-1)].Raw, r.Repeat, equal)
				}
				d.once(t, &w)
			},
			"restart": func(*rapid.T) { d.restart() },
		})
	})
}

// A wrench that is out of range keeps its pulls and sends them later, in any order, after live ones: the counts that
// they fill were said to be skipped, and no epoch begins. When the counter begins anew, exactly one does.
func TestMemory_LateOnesBeginNoEpoch(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := New()
		for epoch := range rapid.Int64Range(1, 4).Draw(t, "epochs") {
			live := rapid.SliceOfN(rapid.Bool(), 1, 30).Draw(t, "in range")
			live = append(live, true) // both ends are seen, and an epoch is longer than its beginning
			live[0] = true
			var late []device.Reading
			var skipped int64
			for n, inRange := range live {
				r := sends(int64(n)+1, "45.0", time(int(epoch)*40+n))
				if !inRange {
					late = append(late, stored(r))
					continue
				}
				if r, _ = offer(m, r); r.Epoch != epoch {
					t.Fatalf("count %d live: got epoch %d, want %d", n+1, r.Epoch, epoch)
				}
				skipped += r.Skipped
			}
			if skipped != int64(len(late)) {
				t.Fatalf("got %d skipped, want %d", skipped, len(late))
			}
			if len(late) == 0 {
				continue
			}
			for _, r := range rapid.Permutation(late).Draw(t, "late") {
				if r, resent := offer(m, r); resent || r.Epoch != epoch || r.Skipped != 0 {
					t.Fatalf("count %d late: got sent again %v, epoch %d, %d skipped, want a new one of epoch %d", *r.Counter, resent, r.Epoch, r.Skipped, epoch)
				}
			}
			if len(m.gaps) != 0 {
				t.Fatalf("got gaps %v, want all filled", m.gaps)
			}
		}
	})
}
