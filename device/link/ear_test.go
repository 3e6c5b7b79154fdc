package link

import (
	"fmt"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"witnessmark/device/frame"
	"witnessmark/device/profile"
)

// gapped is a form whose frames are ended by a silence of 40 ms; each is refused, so that the diary shows it.
func gapped(t *testing.T) Profile {
	return script{Profile: form(t), gap: 40 * time.Millisecond, framer: func() *frame.Framer { return frame.NewGap(64) }}
}

func TestEar_SilenceEndsAFrame(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDiary()
		p := newFakePort(d)
		r := run(t, inTurn(p), d, nil, func(l *Link) { l.Profile = gapped(t) })
		for _, piece := range []struct {
			text  string
			pause time.Duration
		}{{"T45", 39 * time.Millisecond}, {".2", 39 * time.Millisecond}, {"N", 41 * time.Millisecond}, {"T46.0N", time.Minute}, {"T4", time.Millisecond}} {
			p.in <- piece.text
			time.Sleep(piece.pause)
		}
		close(p.in)
		d.expect(t, `refusal form "T45.2N"`, `refusal form "T46.0N"`, `refusal torn "T4"`)
		time.Sleep(time.Minute) // the port is gone: no silence ends anything any more
		if err := r.over(); err != nil {
			t.Error(err)
		}
		d.expect(t, `refusal form "T45.2N"`, `refusal form "T46.0N"`, `refusal torn "T4"`)
	})
}

// While the queue is full, what comes next lies unread: that is no silence of the line.
func TestEar_WaitingForRoomIsNoSilence(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		room := make(chan struct{})
		var got []string
		e := newEar(script{Profile: form(t), gap: 40 * time.Millisecond, framer: func() *frame.Framer { return frame.NewGap(4) }},
			func(f frame.Frame) { <-room; got = append(got, string(f.Bytes)) })
		done := make(chan struct{})
		go func() { // the reader
			defer close(done)
			e.take([]byte("12345")) // too long: handed on before the silence
			e.take([]byte("6"))     // lay in the system meanwhile
		}()
		time.Sleep(time.Second)
		room <- struct{}{}
		<-done
		time.Sleep(39 * time.Millisecond)
		if want := []string{"1234"}; !slices.Equal(got, want) {
			t.Errorf("got %q, want %q and no end of the frame yet", got, want)
		}
		time.Sleep(time.Millisecond)
		room <- struct{}{}
		synctest.Wait()
		if want := []string{"1234", "56"}; !slices.Equal(got, want) {
			t.Errorf("got %q, want %q", got, want)
		}
		e.end()
	})
}

// A silence that is noticed late must not end what came after it, even if that took its time.
func TestEar_LateSilenceEndsNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var got []string
		e := newEar(script{Profile: form(t), gap: 40 * time.Millisecond, framer: func() *frame.Framer { return frame.NewGap(4) }},
			func(f frame.Frame) {
				time.Sleep(time.Second)
				got = append(got, fmt.Sprintf("%s %s", f.Bytes, f.Fault))
			})
		e.take([]byte("123456")) // too long: the first four are handed on at once
		e.silence()              // as if the timer had run out just before these came
		e.end()
		e.silence()
		if want := []string{"1234 too long", "56 noise"}; !slices.Equal(got, want) {
			t.Errorf("got %q, want %q", got, want)
		}
	})
}

// A false start asks for more bytes than will come: the good frame inside comes out all the same, a while later.
func TestEar_FalseStartLetsGo(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		framer := func() *frame.Framer {
			fits := func(b []byte) bool { return b[len(b)-1] == '!' }
			return frame.NewCounted([]byte("A"), frame.Count{At: 1, Size: 1, Plus: 2}, 64).Checked(fits)
		}
		d := newDiary()
		p := newFakePort(d)
		r := run(t, inTurn(p), d, nil, func(l *Link) {
			l.Profile = script{Profile: form(t), gap: 500 * time.Millisecond, framer: framer, decode: func(res profile.Result) profile.Result {
				if res.Refusal != nil && res.Refusal.Reason == "form" {
					d.write("whole")
					return profile.Result{Ignored: true}
				}
				return res
			}}
		})
		p.in <- "A\x30A\x02x!"
		time.Sleep(500 * time.Millisecond)
		synctest.Wait()
		if !slices.Contains(d.read(), "whole") {
			t.Errorf("got %q, want the frame behind the false start", d.read())
		}
		if err := r.over(); err != nil {
			t.Error(err)
		}
	})
}
