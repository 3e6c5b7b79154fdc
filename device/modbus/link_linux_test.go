package modbus

import (
	"context"
	"encoding/binary"
	"fmt"
	"slices"
	"testing"
	"time"

	"witnessmark/device"
	"witnessmark/device/link"
	"witnessmark/device/port/plugtest"
	"witnessmark/device/profile"
)

// diary is a link.Sink that writes down what it keeps, and what the wrench was told until then.
type diary struct {
	u    *unit
	kept chan string
	n    *uint64 // readings that came
}

func (d diary) Reading(_ context.Context, r device.Reading, _ time.Time) (uint64, error) {
	d.kept <- fmt.Sprintf("reading %d of %s %s, told %v", *r.Counter, r.TorqueText, r.Unit, d.u.log())
	*d.n++
	return *d.n, nil
}

func (d diary) Refusal(_ context.Context, r device.Refusal) error {
	d.kept <- fmt.Sprintf("refused for %s: %s", r.Reason, r.Detail)
	return nil
}

// pull puts a reading into the registers of the wrench.
func (u *unit) pull(t *testing.T, p *profile.Profile, counter int64, torque string) {
	t.Helper()
	block := p.Encode(device.Reading{TorqueText: torque, Unit: "N·m", Direction: device.Tighten, Counter: &counter,
		Clock: "2026-05-04T08:00:00Z", Serial: "204417"})
	var values []uint16
	for i := 0; i+1 < len(block); i += 2 {
		values = append(values, binary.BigEndian.Uint16(block[i:]))
	}
	u.set(int(p.Registers().From), values...)
}

// A wrench that is polled goes the way of any other: its reading is kept, then acknowledged, and known again after the
// plug was pulled.
func TestAt_UnderALink(t *testing.T) {
	p, err := profile.Builtin("registers-swapped-floats")
	if err != nil {
		t.Fatal(err)
	}
	u, s := newUnit(), plugtest.New(t)
	u.holding = make([]uint16, 400)
	place, err := At(s.Path, p)
	if err != nil {
		t.Fatal(err)
	}
	u.pull(t, p, 41, "45.2")
	d := diary{u, make(chan string), new(uint64)}
	states := make(chan link.State, 1) // the newest
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() {
		ended <- link.Run(ctx, link.Link{Wrench: "TW-01", Place: place, Profile: p, Sink: d, Notice: func(st link.State) {
			select {
			case <-states:
			default:
			}
			states <- st
		}})
	}()
	until := func(is func(link.State) bool) {
		for !is(<-states) {
		}
	}
	u.plug(s, nil)
	expectKept(t, d, "reading 41 of 45.2 N·m, told []")
	u.tells(1)
	u.pull(t, p, 42, "45.3")
	expectKept(t, d, "reading 42 of 45.3 N·m, told [300=41]")
	u.tells(2)

	seen := (<-states).Seen
	until(func(st link.State) bool { return st.Phase == link.Fresh && st.Seen.After(seen) }) // it answers, though nothing is new

	s.Unplug()
	until(func(st link.State) bool { return st.Phase == link.Gone })
	u.plug(s, nil)
	until(func(st link.State) bool { return st.Resent == 1 })
	u.tells(3)
	u.pull(t, p, 43, "45.3")
	expectKept(t, d, "reading 43 of 45.3 N·m, told [300=41 300=42 300=42]")
	u.tells(4)
	cancel()
	if err := <-ended; err != nil {
		t.Errorf("got %v, want no error at the end", err)
	}
	if got, want := u.log(), []string{"300=41", "300=42", "300=42", "300=43"}; !slices.Equal(got, want) {
		t.Errorf("got told %v, want %v", got, want)
	}
}

func expectKept(t *testing.T, d diary, want string) {
	t.Helper()
	if got := <-d.kept; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}
