package link

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
	"witnessmark/device"
)

// said is a reading by the three things that tell a re-send. counter 0: none.
func said(counter int64, raw, clock string) device.Reading {
	r := device.Reading{Raw: []byte(raw + clock), Clock: clock}
	if counter != 0 {
		r.Counter = &counter
	}
	return r
}

func TestRecent_Holds(t *testing.T) {
	for _, c := range []struct {
		rule   string
		before []device.Reading
		r      device.Reading
		want   bool
	}{
		{"nothing before", nil, said(1, "a", "9:41"), false},
		{"the last one again", []device.Reading{said(1, "a", "")}, said(1, "a", ""), true},
		{"the same counter with other bytes", []device.Reading{said(1, "a", "")}, said(1, "b", ""), false},
		{"another counter with the same bytes", []device.Reading{said(1, "a", "")}, said(2, "a", ""), false},
		{"no counter", []device.Reading{said(0, "a", "9:41")}, said(0, "a", "9:41"), false},
		{"no counter after one that has", []device.Reading{said(1, "a", "9:41")}, said(0, "a", "9:41"), false},
		{"no counter in between", []device.Reading{said(1, "a", "9:41"), said(0, "b", "9:42")}, said(1, "a", "9:41"), false},
		{"further back with a clock", []device.Reading{said(1, "a", "9:41"), said(2, "b", "9:42")}, said(1, "a", "9:41"), true},
		{"further back without a clock", []device.Reading{said(1, "a", ""), said(2, "b", "")}, said(1, "a", ""), false},
		{"the last one after a counter that began anew", []device.Reading{said(9, "a", "0:00"), said(1, "a", "0:00")}, said(1, "a", "0:00"), true},
		{"before a counter began anew", []device.Reading{said(1, "a", "0:00"), said(2, "b", "0:01"), said(1, "c", "0:00")}, said(2, "b", "0:01"), false},
	} {
		t.Run(c.rule, func(t *testing.T) {
			var m recent
			for _, r := range c.before {
				m.add(r)
			}
			if got := m.holds(c.r); got != c.want {
				t.Errorf("got %v, want %v", got, c.want)
			}
		})
	}
}

func TestRecent_Bounded(t *testing.T) {
	var m recent
	for n := range int64(3 * remembered) {
		m.add(said(n+1, "a", "9:41"))
	}
	if len(m.list) != remembered {
		t.Fatalf("got %d readings, want %d", len(m.list), remembered)
	}
	if first := int64(2*remembered + 1); !m.holds(said(first, "a", "9:41")) || m.holds(said(first-1, "a", "9:41")) {
		t.Errorf("got counters from %d, want from %d", *m.list[0].Counter, first)
	}
}

// A wrench with a memory sends it again from any place, as often as it likes: each pull is taken once, in order.
func TestRecent_EachOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var m recent
		var taken, want []int64
		for next := int64(1); next <= rapid.Int64Range(1, 40).Draw(t, "pulls"); next++ {
			want = append(want, next)
			from := rapid.Int64Range(max(1, next-10), next).Draw(t, "sent again from")
			for n := from; n <= next; n++ {
				r := said(n, "a", "9:41")
				if !m.holds(r) {
					m.add(r)
					taken = append(taken, n)
				}
			}
		}
		if !slices.Equal(taken, want) {
			t.Fatalf("got %v, want %v", taken, want)
		}
	})
}
