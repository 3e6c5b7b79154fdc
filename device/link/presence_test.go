package link

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"witnessmark/device/port"
)

// phases keeps what Notice was told as "phase at age", each change once.
type phases struct {
	mu    sync.Mutex
	began time.Time
	list  []string
	last  State
}

func (p *phases) notice(s State) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.began.IsZero() {
		p.began = time.Now()
	}
	if s.Phase != p.last.Phase {
		p.list = append(p.list, fmt.Sprintf("%s at %s", s.Phase, s.Since.Sub(p.began).Round(time.Millisecond)))
	}
	p.last = s
}

// now is what was told last.
func (p *phases) now() State {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.last
}

func (p *phases) expect(t *testing.T, want ...string) {
	t.Helper()
	p.mu.Lock()
	defer p.mu.Unlock()
	if !slices.Equal(p.list, want) {
		t.Errorf("got %q, want %q", p.list, want)
	}
}

func TestPresence_SilentWrench(t *testing.T) {
	for _, c := range []struct {
		rule        string
		stale, gone time.Duration
		want        []string
	}{
		{"grows stale and is gone in the end", 3 * time.Second, 10 * time.Second,
			[]string{"fresh at 0s", "stale at 3s", "gone at 10s", "fresh at 1m0s", "stale at 1m3s", "gone at 1m10s"}},
		{"that may only be gone is never stale", 0, 10 * time.Second,
			[]string{"fresh at 0s", "gone at 10s", "fresh at 1m0s", "gone at 1m10s"}},
		{"that may only grow stale is never gone", 3 * time.Second, 0, []string{"fresh at 0s", "stale at 3s", "fresh at 1m0s", "stale at 1m3s"}},
		{"that speaks only when it is pulled stays fresh", 0, 0, []string{"fresh at 0s"}},
	} {
		t.Run(c.rule, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				var told phases
				d := newDiary()
				p := newFakePort(d)
				r := run(t, inTurn(p), d, told.notice, func(l *Link) { l.Stale, l.Gone = c.stale, c.gone })
				time.Sleep(time.Minute)
				p.in <- pull(t, 1)
				time.Sleep(time.Minute)
				told.expect(t, c.want...)
				if now := told.now(); (now.Phase != Fresh) != strings.Contains(now.Reason, "nothing has come") {
					t.Errorf("got phase %s with reason %q, want a reason exactly where it is silent", now.Phase, now.Reason)
				}
				if err := r.over(); err != nil {
					t.Error(err)
				}
			})
		})
	}
}

func TestPresence_EachByteKeepsItFresh(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var told phases
		d := newDiary()
		p := newFakePort(d)
		r := run(t, inTurn(p), d, told.notice, func(l *Link) { l.Stale, l.Gone = 3*time.Second, 10*time.Second })
		for range 20 {
			time.Sleep(2900 * time.Millisecond)
			p.in <- "?" // whatever it is
		}
		synctest.Wait()
		told.expect(t, "fresh at 0s")
		if now := told.now(); now.Since != told.began.UTC() || now.Seen == now.Since {
			t.Errorf("got fresh since %s, seen at %s, want it fresh since the port was opened and seen since", now.Since, now.Seen)
		}
		close(p.in)
		synctest.Wait()
		told.expect(t, "fresh at 0s", "gone at 58s")
		if err := r.over(); err != nil {
			t.Error(err)
		}
	})
}

func TestPresence_SilentPortIsOpenedAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var told phases
		d := newDiary()
		first, second, third := newFakePort(d), newFakePort(d), newFakePort(d)
		r := run(t, inTurn(first, second, third), d, told.notice, func(l *Link) { l.Gone, l.Reopen = 10*time.Second, true })
		<-first.closed
		<-second.closed
		told.expect(t, "fresh at 0s", "gone at 10s")
		third.in <- pull(t, 1)
		d.expect(t, "reading 1", "write "+ack(1))
		if n := len(told.list); n != 3 || !strings.HasPrefix(told.list[2], "fresh at 20.3") {
			t.Errorf("got %q, want it fresh again when bytes came, after two pauses of the third try", told.list)
		}
		if err := r.over(); err != nil {
			t.Error(err)
		}
	})
}

// found is a place that knows how it found its port.
type found struct{ port.Place }

func (found) Where() string { return "usb socket 1-2" }

func TestRun_TellsHowThePortWasFound(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var told phases
		d := newDiary()
		p := newFakePort(d)
		r := run(t, found{inTurn(p)}, d, told.notice)
		close(p.in)
		synctest.Wait()
		if err := r.over(); err != nil {
			t.Error(err)
		}
		if now := told.now(); now.Where != "usb socket 1-2" || now.Up {
			t.Errorf("got %+v, want it to be known where the lost port was", now)
		}
	})
}

func TestRun_StrangerIsNotAcknowledged(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDiary()
		p := newFakePort(d)
		r := run(t, inTurn(p), d, nil, func(l *Link) { l.Serial, l.Profile = "SN-1", speaking(t, "SN-2") })
		p.in <- pull(t, 1)
		d.expect(t, fmt.Sprintf("refusal stranger %q", pull(t, 1)))
		if err := r.over(); err != nil {
			t.Error(err)
		}
	})
	for _, spoken := range []string{"SN-1", ""} {
		synctest.Test(t, func(t *testing.T) {
			d := newDiary()
			p := newFakePort(d)
			r := run(t, inTurn(p), d, nil, func(l *Link) { l.Serial, l.Profile = "SN-1", speaking(t, spoken) })
			p.in <- pull(t, 1)
			d.expect(t, "reading 1", "write "+ack(1))
			if err := r.over(); err != nil {
				t.Error(err)
			}
		})
	}
}

// tape is Evidence.
type tape struct{ got []string }

func (e *tape) Took(_ time.Time, b []byte) { e.got = append(e.got, string(b)) }
func (e *tape) Gone(time.Time)             { e.got = append(e.got, "gone") }

func TestRun_EverythingIsEvidence(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDiary()
		p := newFakePort(d)
		var e tape
		r := run(t, inTurn(p), d, nil, func(l *Link) { l.Evidence = &e })
		p.in <- "\x00\xff"
		p.in <- pull(t, 1)[:4]
		close(p.in)
		<-p.closed
		if err := r.over(); err != nil {
			t.Error(err)
		}
		if want := []string{"\x00\xff", pull(t, 1)[:4], "gone"}; !slices.Equal(e.got, want) {
			t.Errorf("got %q, want %q", e.got, want)
		}
	})
}

// asking is a port that asks by itself.
type asking struct {
	*fakePort
	answered chan func()
}

func (p asking) Answered(tell func()) { p.answered <- tell }

func TestPresence_PortThatAsksByItself(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var told phases
		d := newDiary()
		p := asking{newFakePort(d), make(chan func(), 1)}
		r := run(t, once(p), d, told.notice, func(l *Link) { l.Gone = 10 * time.Second })
		answered := <-p.answered
		for range 10 {
			time.Sleep(9 * time.Second)
			answered()
		}
		told.expect(t, "fresh at 0s")
		if err := r.over(); err != nil {
			t.Error(err)
		}
	})
}
