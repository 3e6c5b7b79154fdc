package link

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"witnessmark/device"
	"witnessmark/device/frame"
	"witnessmark/device/port"
	"witnessmark/device/profile"
	"witnessmark/device/unit"
)

func form(t testing.TB) *profile.Profile {
	t.Helper()
	p, err := profile.Builtin("semicolon-xor")
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// pull is a line as the wrench writes it; no two pulls are alike.
func pull(t testing.TB, counter int64) string {
	t.Helper()
	torque := 40*unit.NewtonMetre + unit.Torque(counter)*unit.NewtonMetre/10
	return string(form(t).Encode(device.Reading{
		Torque: torque, Unit: unit.Nm, Direction: device.Tighten, Counter: &counter, Clock: "09:41:07",
	}))
}

// ack is how the wrench is told that a pull is durable.
func ack(counter int64) string { return fmt.Sprintf("=%d\r\n", counter) }

// diary is a Sink that keeps what it was given, beside what else happens, in order.
type diary struct {
	mu    sync.Mutex
	lines []string
	fresh chan struct{} // holds one token when something was written since

	before func(context.Context) error // called before a reading or a refusal is kept; nil: nothing
}

func newDiary() *diary { return &diary{fresh: make(chan struct{}, 1)} }

func (d *diary) write(line string) {
	d.mu.Lock()
	d.lines = append(d.lines, line)
	d.mu.Unlock()
	select {
	case d.fresh <- struct{}{}:
	default:
	}
}

func (d *diary) Reading(ctx context.Context, r device.Reading, _ time.Time) (uint64, error) {
	err := d.keep(ctx, fmt.Sprintf("reading %d", *r.Counter))
	return uint64(len(d.read())), err
}

func (d *diary) Refusal(ctx context.Context, r device.Refusal) error {
	return d.keep(ctx, fmt.Sprintf("refusal %s %q", r.Reason, r.Raw))
}

func (d *diary) keep(ctx context.Context, line string) error {
	if d.before != nil {
		if err := d.before(ctx); err != nil {
			return err
		}
	}
	d.write(line)
	return nil
}

func (d *diary) read() []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return append([]string(nil), d.lines...)
}

// expect waits until as many lines stand there and compares them.
func (d *diary) expect(t *testing.T, want ...string) {
	t.Helper()
	for len(d.read()) < len(want) {
		<-d.fresh
	}
	if got := d.read(); fmt.Sprint(got) != fmt.Sprint(want) {
		t.Fatalf("got %q, want %q", got, want)
	}
}

// states are what Notice was told.
type states struct {
	mu    sync.Mutex
	all   []State
	fresh chan struct{}
}

func newStates() *states { return &states{fresh: make(chan struct{}, 1)} }

func (s *states) notice(st State) {
	s.mu.Lock()
	s.all = append(s.all, st)
	s.mu.Unlock()
	select {
	case s.fresh <- struct{}{}:
	default:
	}
}

// until waits for a state later than those that an earlier call has passed over.
func (s *states) until(is func(State) bool) State {
	for {
		s.mu.Lock()
		for i, st := range s.all {
			if is(st) {
				s.all = s.all[i+1:]
				s.mu.Unlock()
				return st
			}
		}
		s.mu.Unlock()
		<-s.fresh
	}
}

func up(s State) bool   { return s.Up }
func down(s State) bool { return !s.Up }

// fakePort gives what is put in, and writes into the diary what is put out.
type fakePort struct {
	in     chan string // closed: the plug is pulled
	out    *diary
	broken error // of every write
	closed chan struct{}
	once   sync.Once
}

func newFakePort(out *diary) *fakePort {
	return &fakePort{in: make(chan string), out: out, closed: make(chan struct{})}
}

func (p *fakePort) Read(b []byte) (int, error) {
	select {
	case text, more := <-p.in:
		if !more {
			return 0, port.ErrUnplugged
		}
		return copy(b, text), nil
	case <-p.closed:
		return 0, port.ErrClosed
	}
}

func (p *fakePort) Write(b []byte) (int, error) {
	select {
	case <-p.closed:
		return 0, port.ErrClosed
	default:
	}
	if p.broken != nil {
		return 0, p.broken
	}
	p.out.write("write " + string(b))
	return len(b), nil
}

func (p *fakePort) Close() error {
	p.once.Do(func() { close(p.closed) })
	return nil
}

// fakePlace opens what it is told to.
type fakePlace func(context.Context) (port.Port, error)

func (f fakePlace) Open(ctx context.Context) (port.Port, error) { return f(ctx) }
func (fakePlace) Close() error                                  { return nil }

// once opens one port, and then none.
func once(p port.Port) fakePlace {
	return func(context.Context) (port.Port, error) {
		if p == nil {
			return nil, errors.New("nothing is plugged in")
		}
		opened := p
		p = nil
		return opened, nil
	}
}

// inTurn opens the ports one after the other, and then none.
func inTurn(ports ...*fakePort) fakePlace {
	return func(context.Context) (port.Port, error) {
		if len(ports) == 0 {
			return nil, errors.New("nothing is plugged in")
		}
		p := ports[0]
		ports = ports[1:]
		return p, nil
	}
}

// script is a form of wrench that does more than the one of form.
type script struct {
	Profile
	framer     func() *frame.Framer // nil: that of the form
	decode     func(profile.Result) profile.Result
	gap        time.Duration
	start      [][]byte
	calls      []profile.Call
	pass, fail string // empty: it cannot be told
	again      string // what Refuse gives
}

func (s script) NewFramer() *frame.Framer {
	if s.framer != nil {
		return s.framer()
	}
	return s.Profile.NewFramer()
}

func (s script) Decode(wrench string, f frame.Frame) profile.Result {
	res := s.Profile.Decode(wrench, f)
	if s.decode != nil {
		res = s.decode(res)
	}
	return res
}

func (s script) Gap() time.Duration             { return s.gap }
func (s script) Start() [][]byte                { return s.start }
func (s script) Calls() []profile.Call          { return s.calls }
func (s script) Refuse(r device.Refusal) []byte { return wire(s.again) }

func (s script) Tell(_ device.Reading, pass bool) []byte {
	if pass {
		return wire(s.pass)
	}
	return wire(s.fail)
}

func wire(text string) []byte {
	if text == "" {
		return nil
	}
	return []byte(text)
}

// speaking is a form of wrench that names its serial number.
func speaking(t testing.TB, serial string) Profile {
	return script{Profile: form(t), decode: func(res profile.Result) profile.Result {
		if res.Reading != nil {
			res.Reading.Serial = serial
		}
		return res
	}}
}
