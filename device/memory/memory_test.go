package memory

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"witnessmark/device"
)

// none stands for a wrench that sends no counter.
const none = -1

// sends is a line of a wrench as its profile decodes it.
func sends(count int64, torque, clock string) device.Reading {
	r := device.Reading{TorqueText: torque, Clock: clock}
	if count != none {
		r.Counter = &count
	}
	return written(r)
}

// written gives a reading its line.
func written(r device.Reading) device.Reading {
	count, battery := int64(none), int64(none)
	if r.Counter != nil {
		count = *r.Counter
	}
	if r.Battery != nil {
		battery = *r.Battery
	}
	r.Raw = fmt.Appendf(nil, "%d;%s;%s;%v;%d\r\n", count, r.TorqueText, r.Clock, r.Stored, battery)
	return r
}

func stored(r device.Reading) device.Reading {
	r.Stored = true
	return written(r)
}

func battery(r device.Reading, percent int64) device.Reading {
	r.Battery = &percent
	return written(r)
}

// keep gives a reading the next number.
func keep(m *Memory, r device.Reading) { m.Keep(m.Newest()+1, r) }

// offer does what a link does with a reading.
func offer(m *Memory, r device.Reading) (device.Reading, bool) {
	if m.Look(&r) {
		return r, true
	}
	keep(m, r)
	return r, false
}

func TestMemory_Look(t *testing.T) {
	type found struct {
		resent         bool
		epoch, skipped int64
		repeat         bool
	}
	pull, row := sends, func(rs ...device.Reading) []device.Reading { return rs }
	for _, c := range []struct {
		rule   string
		before []device.Reading
		r      device.Reading
		want   found
	}{
		{"nothing before", nil, pull(7, "45.0", ""), found{}},
		{"the next count", row(pull(7, "45.0", "")), pull(8, "45.0", ""), found{}},
		{"a count that jumps", row(pull(7, "45.0", "")), pull(10, "45.0", ""), found{skipped: 2}},
		{"a count that goes back", row(pull(7, "45.0", "")), pull(1, "45.0", ""), found{epoch: 1}},
		{"a count that wraps to 0", row(pull(998, "45.0", ""), pull(999, "45.0", "")), pull(0, "45.0", ""), found{epoch: 1}},
		{"the same count with another figure", row(pull(7, "45.0", "")), pull(7, "45.1", ""), found{epoch: 1}},
		{"the second time that it goes back", row(pull(7, "45.0", ""), pull(1, "45.0", ""), pull(2, "45.0", "")), pull(1, "46.0", ""), found{epoch: 2}},

		{"the last line again", row(pull(7, "45.0", "")), pull(7, "45.0", ""), found{resent: true}},
		{"a line before it again", row(pull(7, "45.0", ""), pull(8, "45.0", "")), pull(7, "45.0", ""), found{resent: true}},
		{"one of the epoch before again", row(pull(7, "45.0", ""), pull(1, "46.0", "")), pull(7, "45.0", ""), found{resent: true}},
		{"one of the epoch before that", row(pull(7, "45.0", ""), pull(1, "46.0", ""), pull(1, "47.0", "")), pull(7, "45.0", ""), found{epoch: 2, skipped: 5}},
		{"one of the epoch before that, with a clock", row(pull(7, "45.0", "9:40"), pull(1, "46.0", "9:41"), pull(1, "47.0", "9:42")),
			pull(7, "45.0", "9:40"), found{resent: true}},
		{"the next count as it was in the epoch before", row(pull(1, "44.0", ""), pull(2, "45.0", ""), pull(1, "46.0", "")),
			pull(2, "45.0", ""), found{epoch: 1, repeat: true}},
		{"the next count as it was in the epoch before, with a clock", row(pull(1, "44.0", "9:40"), pull(2, "45.0", "9:41"), pull(1, "46.0", "9:42")),
			pull(2, "45.0", "9:41"), found{resent: true}},
		{"the last line again after the counter began anew", row(pull(7, "45.0", ""), pull(1, "46.0", "")), pull(1, "46.0", ""), found{resent: true}},
		{"the clock went on, the count did not", row(pull(7, "45.0", "9:41")), pull(7, "45.0", "9:42"), found{epoch: 1}},

		{"a count that was skipped", row(pull(7, "45.0", ""), pull(10, "45.0", "")), pull(8, "45.0", ""), found{}},
		{"one that was skipped, again", row(pull(7, "45.0", ""), pull(10, "45.0", ""), pull(8, "45.0", "")), pull(8, "45.0", ""), found{resent: true}},
		{"one that was skipped and came, with another figure", row(pull(7, "45.0", ""), pull(10, "45.0", ""), pull(8, "45.0", "")), pull(8, "45.1", ""), found{epoch: 1}},
		{"one from memory, from before the first one that we had", row(pull(7, "45.0", "")), stored(pull(3, "45.0", "")), found{}},
		{"one from memory that goes back", row(pull(7, "45.0", ""), pull(8, "45.0", "")), stored(pull(7, "45.1", "")), found{epoch: 1}},
		{"one that came live, again from memory", row(pull(7, "45.0", ""), pull(8, "45.0", "")), stored(pull(7, "45.0", "")), found{resent: true}},
		{"one that came live, again from memory, with a clock and less battery", row(battery(pull(7, "45.0", "9:41"), 84), pull(8, "45.0", "9:41")),
			battery(stored(pull(7, "45.0", "9:41")), 83), found{resent: true}},
		{"the same count with less battery and no clock", row(battery(pull(7, "45.0", ""), 84)), battery(pull(7, "45.0", ""), 83), found{epoch: 1}},

		{"no counter", row(pull(none, "45.0", "")), pull(none, "46.0", ""), found{}},
		{"no counter, the line before again", row(pull(none, "45.0", "")), pull(none, "45.0", ""), found{repeat: true}},
		{"no counter, a line further back again", row(pull(none, "45.0", ""), pull(none, "46.0", "")), pull(none, "45.0", ""), found{}},
		{"no counter but a clock, the line before again", row(pull(none, "45.0", "9:41")), pull(none, "45.0", "9:41"), found{repeat: true}},
		{"no counter but a clock, a line further back again", row(pull(none, "45.0", "9:41"), pull(none, "46.0", "9:41")), pull(none, "45.0", "9:41"), found{repeat: true}},
		{"no counter in between", row(pull(7, "45.0", ""), pull(1, "45.0", ""), pull(none, "45.0", "")), pull(4, "45.0", ""), found{epoch: 1, skipped: 2}},
		{"no counter after the counter began anew", row(pull(7, "45.0", ""), pull(1, "45.0", "")), pull(none, "45.0", ""), found{epoch: 1}},
	} {
		t.Run(c.rule, func(t *testing.T) {
			m := New()
			for _, r := range c.before {
				if _, resent := offer(m, r); resent {
					t.Fatalf("got %q for one that came before, want a new one", r.Raw)
				}
			}
			r := c.r
			r.Epoch, r.Skipped, r.Repeat = 99, 99, true // what stood there before means nothing
			got := found{resent: m.Look(&r)}
			if !got.resent {
				got = found{false, r.Epoch, r.Skipped, r.Repeat}
			}
			if got != c.want {
				t.Errorf("got %+v, want %+v", got, c.want)
			}
		})
	}
}

// Every field that a wrench says of a pull tells it from another one, and none that it says of the sending.
func TestPull_Fields(t *testing.T) {
	ofSending := []string{"Wrench", "Torque", "Battery", "Stored", "Epoch", "Skipped", "Repeat", "Raw", "Profile"} // Torque: TorqueText in Unit
	plain := string(pull(device.Reading{}))
	for f := range reflect.TypeFor[device.Reading]().NumField() {
		var r device.Reading
		name, v := reflect.TypeFor[device.Reading]().Field(f).Name, reflect.ValueOf(&r).Elem().Field(f)
		switch v.Kind() {
		case reflect.String:
			v.SetString("x")
		case reflect.Int64:
			v.SetInt(1)
		case reflect.Bool:
			v.SetBool(true)
		case reflect.Pointer:
			v.Set(reflect.New(v.Type().Elem()))
		case reflect.Slice:
			v.SetBytes([]byte("x"))
		default:
			t.Fatalf("got a field %s of kind %s: teach the test", name, v.Kind())
		}
		if got, want := string(pull(r)) != plain, !slices.Contains(ofSending, name); got != want {
			t.Errorf("%s: got told apart %v, want %v", name, got, want)
		}
	}
}

func TestMemory_Depth(t *testing.T) {
	m := New()
	for n := range int64(2*Depth + 5) {
		offer(m, sends(n, "45.0", "9:41"))
	}
	if got := m.traces.held(); got != Depth || len(m.traces.lines.all) != Depth || cap(m.traces.pulls.all) != Depth {
		t.Fatalf("got %d remembered, want %d", got, Depth)
	}
	for count, want := range map[int64]bool{Depth + 4: false, Depth + 5: true, 2*Depth + 4: true} {
		r := sends(count, "45.0", "9:41")
		if got := m.Look(&r); got != want {
			t.Errorf("count %d: got sent again %v, want %v", count, got, want)
		}
	}
	m = New()
	for n := range Depth + 1 {
		offer(m, sends(none, fmt.Sprint(n), ""))
	}
	if r, _ := offer(m, sends(none, fmt.Sprint(Depth), "")); !r.Repeat {
		t.Error("the line before again, in a full memory: got no repeat, want one")
	}
}

func TestMemory_GapsBounded(t *testing.T) {
	m := New()
	for n := range int64(2 * maxGaps) {
		offer(m, sends(3*n+1, "45.0", ""))
	}
	if len(m.gaps) != maxGaps {
		t.Fatalf("got %d gaps, want %d", len(m.gaps), maxGaps)
	}
	offer(m, sends(3*2*maxGaps+1, "45.0", "")) // the gap before it pushes one out
	oldest := m.gaps[0].from
	if r, _ := offer(m, sends(oldest, "45.0", "")); r.Epoch != 0 {
		t.Errorf("the oldest gap that is remembered: got epoch %d, want 0", r.Epoch)
	}
	if r, _ := offer(m, sends(oldest-3, "45.0", "")); r.Epoch != 1 {
		t.Errorf("a gap that was forgotten: got epoch %d, want 1", r.Epoch)
	}
}

// A gap that is filled in its middle is two: the bound holds for these too.
func TestGaps_SplitBounded(t *testing.T) {
	var g gaps
	g.open(0, 4*maxGaps)
	for n := range int64(2 * maxGaps) {
		g.fill(2*n + 1)
	}
	if len(g) != maxGaps || g.hold(0) || !g.hold(4*maxGaps) {
		t.Errorf("got %d gaps from %v, want the last %d", len(g), g[0], maxGaps)
	}
}

// A journal from before there were epochs holds counts that go back without saying so.
func TestMemory_JournalFromBefore(t *testing.T) {
	m := New()
	for _, count := range []int64{40, 41, 1, 2} {
		keep(m, sends(count, "45.0", ""))
	}
	r := sends(4, "45.0", "")
	if m.Look(&r) || r.Epoch != 0 || r.Skipped != 1 {
		t.Errorf("got %+v, want count 3 skipped", r)
	}
}

// What Look once found is durable: a replay follows it, even where it would find otherwise.
func TestMemory_KeptEpochStands(t *testing.T) {
	for _, begins := range []int64{5, 20} {
		m := New()
		keep(m, sends(1, "45.0", ""))
		keep(m, sends(9, "45.0", ""))
		begin := sends(begins, "45.0", "")
		begin.Epoch = 1
		keep(m, begin)
		r := sends(begins+2, "46.0", "")
		if m.Look(&r) || r.Epoch != 1 || r.Skipped != 1 {
			t.Errorf("after an epoch that began with %d: got %+v, want one count skipped in epoch 1", begins, r)
		}
		if len(m.gaps) != 0 {
			t.Errorf("after an epoch that began with %d: got gaps %v, want none", begins, m.gaps)
		}
	}
}

func BenchmarkMemory(b *testing.B) {
	m := New()
	for n := range int64(Depth) {
		keep(m, sends(n, "45.0", "9:41"))
	}
	fresh := sends(Depth, "45.0", "9:41")
	b.Run("look at a new one in a full memory", func(b *testing.B) {
		for b.Loop() {
			m.Look(&fresh)
		}
	})
	b.Run("keep", func(b *testing.B) {
		kept := make([]device.Reading, 1000)
		for n := range kept {
			kept[n] = sends(Depth+rand.Int64N(1000), "45.0", "9:41")
		}
		for n := 0; b.Loop(); n++ {
			keep(m, kept[n%len(kept)])
		}
	})
}
