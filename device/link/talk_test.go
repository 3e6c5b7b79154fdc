package link

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"witnessmark/device/frame"
	"witnessmark/device/port"
)

func frameOf(line string) frame.Frame { return frame.Frame{Bytes: []byte(line)} }

// running is a link at work on fakes, inside a bubble.
type running struct {
	end  context.CancelFunc
	done chan error
}

func run(t *testing.T, place port.Place, d *diary, notice func(State), change ...func(*Link)) running {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	l := Link{Wrench: "TW-01", Place: place, Profile: form(t), Sink: d, Notice: notice}
	for _, c := range change {
		c(&l)
	}
	r := running{cancel, make(chan error, 1)}
	go func() { r.done <- Run(ctx, l) }()
	return r
}

// over ends the link and gives its error.
func (r running) over() error {
	r.end()
	return <-r.done
}

func TestTalk_AcknowledgesAfterDurable(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDiary()
		durable := make(chan struct{})
		d.before = func(context.Context) error { <-durable; return nil }
		p := newFakePort(d)
		r := run(t, inTurn(p), d, nil)
		p.in <- pull(t, 1) + "!battery low\r\n"
		synctest.Wait()
		if got := d.read(); len(got) != 0 {
			t.Errorf("got %q before the reading is durable, want nothing", got)
		}
		close(durable)
		d.expect(t, "reading 1", "write "+ack(1))
		if err := r.over(); err != nil {
			t.Error(err)
		}
	})
}

func TestTalk_SinkFails(t *testing.T) {
	for _, c := range []struct{ rule, line string }{
		{"at a reading", pull(t, 1)},
		{"at a refused frame", "#1;half\r\n"},
	} {
		t.Run(c.rule, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := newDiary()
				full := errors.New("the disk is full")
				d.before = func(context.Context) error { return full }
				p := newFakePort(d)
				r := run(t, inTurn(p), d, nil)
				p.in <- strings.Repeat(c.line, 80) // the reader is behind
				if err := <-r.done; !errors.Is(err, full) || !strings.Contains(err.Error(), "TW-01") {
					t.Errorf("got %v, want %v with the wrench's name", err, full)
				}
				if got := d.read(); len(got) != 0 {
					t.Errorf("got %q, want no acknowledgement", got)
				}
				<-p.closed
			})
		})
	}
}

func TestTalk_SinkFailsWithTheQueueFull(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDiary()
		failing := make(chan struct{})
		full := errors.New("the disk is full")
		d.before = func(context.Context) error { <-failing; return full }
		p := newFakePort(d)
		r := run(t, inTurn(p), d, nil)
		fill(t, p)
		close(failing)
		if err := <-r.done; !errors.Is(err, full) {
			t.Errorf("got %v, want %v", err, full)
		}
		<-p.closed
	})
}

// fill sends pulls until the reader takes no more, and gives their number.
func fill(t *testing.T, p *fakePort) int {
	for n := 0; ; n++ {
		synctest.Wait() // either the reader is back in Read, or the queue is full
		select {
		case p.in <- pull(t, int64(n+1)):
		default:
			return n
		}
	}
}

func TestTalk_DeadPortIsNotHeld(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDiary()
		durable := make(chan struct{})
		d.before = func(context.Context) error { <-durable; return nil }
		p := newFakePort(d)
		var reasons []string
		r := run(t, inTurn(p), d, func(s State) {
			if !s.Up {
				reasons = append(reasons, s.Reason)
			}
		})
		p.in <- pull(t, 1) + pull(t, 2)
		close(p.in)
		<-p.closed // or the test hangs: the sink stands still
		close(durable)
		d.expect(t, "reading 1", "reading 2")
		synctest.Wait()
		if want := []string{port.ErrUnplugged.Error()}; !slices.Equal(reasons, want) {
			t.Errorf("got reasons %q, want %q, not that nobody could be told", reasons, want)
		}
		if err := r.over(); err != nil {
			t.Error(err)
		}
	})
}

func TestTalk_ReaderDoesNotWaitForTheSink(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDiary()
		durable := make(chan struct{})
		d.before = func(context.Context) error { <-durable; return nil }
		p := newFakePort(d)
		r := run(t, inTurn(p), d, nil)
		taken := fill(t, p)
		// One lies with the sink, and the reader holds one.
		if taken != Queue+2 {
			t.Errorf("got %d frames taken while the sink stands, want %d", taken, Queue+2)
		}
		close(durable)
		synctest.Wait()
		if got := len(d.read()); got != 2*taken {
			t.Errorf("got %d entries, want %d readings, each acknowledged", got, taken)
		}
		if err := r.over(); err != nil {
			t.Error(err)
		}
	})
}

func TestTalk_EndKeepsWhatCame(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDiary()
		durable := make(chan struct{})
		d.before = func(ctx context.Context) error { <-durable; return ctx.Err() }
		p := newFakePort(d)
		var last State
		r := run(t, inTurn(p), d, func(s State) { last = s })
		p.in <- pull(t, 1) + pull(t, 2) + pull(t, 3) + "#4;half"
		synctest.Wait()
		r.end()
		synctest.Wait()
		close(durable)
		if err := <-r.done; err != nil {
			t.Errorf("got %v, want no error", err)
		}
		d.expect(t, "reading 1", "write "+ack(1), "reading 2", "write "+ack(2), "reading 3", "write "+ack(3))
		if last.Up || last.Reason == "" {
			t.Errorf("got last state %+v, want it down with a reason", last)
		}
		<-p.closed
	})
}

func TestTalk_EndHasALimit(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDiary()
		d.before = func(ctx context.Context) error { <-ctx.Done(); return ctx.Err() }
		p := newFakePort(d)
		r := run(t, inTurn(p), d, nil)
		p.in <- pull(t, 1)
		synctest.Wait()
		began := time.Now()
		if err := r.over(); !errors.Is(err, context.Canceled) {
			t.Errorf("got %v, want the error of a sink that was cut short", err)
		}
		if took := time.Since(began); took != Grace {
			t.Errorf("got the end after %s, want it after %s", took, Grace)
		}
	})
}

func TestTalk_WrenchThatCannotBeTold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDiary()
		broken := newFakePort(d)
		broken.broken = errors.New("nothing was taken")
		whole := newFakePort(d)
		var reasons []string
		r := run(t, inTurn(broken, whole), d, func(s State) {
			if !s.Up {
				reasons = append(reasons, s.Reason)
			}
		})
		broken.in <- pull(t, 1) + pull(t, 2) + "#3;half"
		<-broken.closed
		whole.in <- pull(t, 1) + pull(t, 2)
		d.expect(t, "reading 1", "reading 2", `refusal torn "#3;half"`, "write "+ack(1), "write "+ack(2))
		if err := r.over(); err != nil {
			t.Error(err)
		}
		if want := []string{"nothing was taken", "the link was ended"}; !slices.Equal(reasons, want) {
			t.Errorf("got reasons %q, want %q", reasons, want)
		}
	})
}

func TestKeep_BackOff(t *testing.T) {
	want := "[0s 100ms 300ms 700ms 1.5s 3.1s 5.1s 7.1s]"
	for _, c := range []struct {
		rule string
		open func() (port.Port, error)
		told int // states
	}{
		{"a port that does not open", func() (port.Port, error) { return nil, errors.New("nothing is plugged in") }, 2},
		{"a port that opens and says nothing", func() (port.Port, error) {
			p := newFakePort(newDiary())
			close(p.in)
			return p, nil
		}, 17},
	} {
		t.Run(c.rule, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				began := time.Now()
				var at []time.Duration
				told := 0
				enough := make(chan struct{})
				r := run(t, fakePlace(func(context.Context) (port.Port, error) {
					if at = append(at, time.Since(began)); len(at) == 8 {
						close(enough)
					}
					return c.open()
				}), newDiary(), func(State) { told++ })
				<-enough
				synctest.Wait()
				if err := r.over(); err != nil {
					t.Error(err)
				}
				if got := fmt.Sprint(at); got != want {
					t.Errorf("got attempts at %s, want %s", got, want)
				}
				if told != c.told {
					t.Errorf("got %d states told, want %d", told, c.told)
				}
			})
		})
	}
}

func TestKeep_BackOffBeginsAnew(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDiary()
		good := newFakePort(d)
		attempts, back := 0, make(chan time.Duration, 1)
		var gone time.Time
		r := run(t, fakePlace(func(context.Context) (port.Port, error) {
			switch attempts++; attempts {
			case 6:
				return good, nil
			case 7:
				back <- time.Since(gone)
			}
			return nil, errors.New("nothing is plugged in")
		}), d, nil)
		good.in <- pull(t, 1)
		d.expect(t, "reading 1", "write "+ack(1))
		gone = time.Now()
		close(good.in)
		if got := <-back; got != firstPause {
			t.Errorf("got a pause of %s after a wrench that spoke, want %s", got, firstPause)
		}
		if err := r.over(); err != nil {
			t.Error(err)
		}
	})
}
