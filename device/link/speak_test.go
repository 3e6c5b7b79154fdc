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

	"witnessmark/device"
	"witnessmark/device/evidence"
	"witnessmark/device/profile"
)

func TestTalk_StartsBeforeAnythingElse(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDiary()
		first, second := newFakePort(d), newFakePort(d)
		r := run(t, inTurn(first, second), d, nil, func(l *Link) {
			l.Profile = script{Profile: form(t), start: [][]byte{[]byte("MODE 1"), []byte("SEND")}}
		})
		synctest.Wait()
		close(first.in)
		second.in <- pull(t, 1)
		d.expect(t, "write MODE 1", "write SEND", "write MODE 1", "write SEND", "reading 1", "write "+ack(1))
		if err := r.over(); err != nil {
			t.Error(err)
		}
	})
}

// timed is a port that notes when it is written to.
type timed struct {
	*fakePort
	began time.Time
	at    []string
}

func (p *timed) Write(b []byte) (int, error) {
	p.at = append(p.at, fmt.Sprintf("%s at %s", b, time.Since(p.began)))
	return p.fakePort.Write(b)
}

func TestTalk_Calls(t *testing.T) {
	poll := profile.Call{Text: []byte("D?"), Every: 500 * time.Millisecond, Poll: true}
	alive := profile.Call{Text: []byte("ENQ"), Every: 1200 * time.Millisecond}
	for _, c := range []struct {
		rule  string
		calls []profile.Call
		while func(*fakePort)
		want  []string
	}{
		{"each on its interval", []profile.Call{poll, alive}, func(*fakePort) { time.Sleep(2100 * time.Millisecond) },
			[]string{"D? at 500ms", "D? at 1s", "ENQ at 1.2s", "D? at 1.5s", "D? at 2s"}},
		{"not into a frame that is coming in", []profile.Call{poll}, func(p *fakePort) {
			time.Sleep(480 * time.Millisecond)
			for range 5 {
				p.in <- "#"
				time.Sleep(25 * time.Millisecond)
			} // the last byte comes at 0.58 s
			time.Sleep(600 * time.Millisecond)
		}, []string{"D? at 610ms", "D? at 1.11s"}},
		{"into a line that is never silent, one interval late", []profile.Call{poll}, func(p *fakePort) {
			for range 200 {
				p.in <- "\x00"
				time.Sleep(7 * time.Millisecond)
			} // until 1.4 s
		}, []string{"D? at 1.0"}}, // or a lull later, when it looks again
	} {
		t.Run(c.rule, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := newDiary()
				p := &timed{fakePort: newFakePort(d), began: time.Now()}
				r := run(t, once(p), d, nil, func(l *Link) { l.Profile = script{Profile: form(t), calls: c.calls} })
				c.while(p.fakePort)
				if err := r.over(); err != nil {
					t.Error(err)
				}
				for i, want := range c.want {
					if i >= len(p.at) || !strings.HasPrefix(p.at[i], want) {
						t.Fatalf("got %q, want %q", p.at, c.want)
					}
				}
				if len(p.at) != len(c.want) {
					t.Errorf("got %q, want %q", p.at, c.want)
				}
			})
		})
	}
}

func TestTalk_CallsWaitForTheAcknowledgement(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDiary()
		d.before = func(context.Context) error { time.Sleep(3 * time.Second); return nil }
		p := newFakePort(d)
		r := run(t, inTurn(p), d, nil, func(l *Link) {
			l.Profile = script{Profile: form(t), calls: []profile.Call{{Text: []byte("D?"), Every: time.Second, Poll: true}}}
		})
		p.in <- pull(t, 1)
		time.Sleep(3500 * time.Millisecond)
		d.expect(t, "reading 1", "write "+ack(1), "write D?")
		if err := r.over(); err != nil {
			t.Error(err)
		}
	})
}

func TestTalk_CallThatCannotBeSentGivesThePortUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var told phases
		d := newDiary()
		p := newFakePort(d)
		p.broken = errors.New("nothing was taken")
		r := run(t, inTurn(p), d, told.notice, func(l *Link) {
			l.Profile = script{Profile: form(t), calls: []profile.Call{{Text: []byte("D?"), Every: time.Second, Poll: true}}}
		})
		<-p.closed
		time.Sleep(time.Millisecond)
		told.expect(t, "fresh at 0s", "gone at 1s")
		if err := r.over(); err != nil {
			t.Error(err)
		}
	})
}

func TestTalk_PolledWrenchGrowsStale(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var told phases
		d := newDiary()
		p := newFakePort(d)
		r := run(t, inTurn(p), d, told.notice, func(l *Link) {
			l.Profile = script{Profile: form(t), calls: []profile.Call{
				{Text: []byte("ENQ"), Every: time.Minute}, {Text: []byte("D?"), Every: 2 * time.Second, Poll: true}}}
		})
		time.Sleep(time.Minute)
		told.expect(t, "fresh at 0s", "stale at 6s", "gone at 20s")
		if err := r.over(); err != nil {
			t.Error(err)
		}
	})
}

func TestLink_Ages(t *testing.T) {
	polls := []profile.Call{{Text: []byte("ENQ"), Every: time.Minute}, {Text: []byte("D?"), Every: time.Second, Poll: true}}
	for _, c := range []struct {
		rule        string
		calls       []profile.Call
		stale, gone time.Duration
		want        string
	}{
		{"of a wrench that is polled count its polls", polls, 0, 0, "3s 10s"},
		{"that are said are taken", polls, 5 * time.Second, time.Minute, "5s 1m0s"},
		{"never have it gone before it is stale", polls, time.Minute, 0, "1m0s 1m0s"},
		{"of a wrench that is not polled are none", polls[:1], 0, 0, "0s 0s"},
		{"that are said hold for it too", nil, 5 * time.Second, 0, "5s 0s"},
	} {
		t.Run(c.rule, func(t *testing.T) {
			stale, gone := Link{Profile: script{Profile: form(t), calls: c.calls}, Stale: c.stale, Gone: c.gone}.ages()
			if got := fmt.Sprint(stale, " ", gone); got != c.want {
				t.Errorf("got %s, want %s", got, c.want)
			}
		})
	}
}

func TestTalk_BrokenFrameIsAskedForAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDiary()
		p := newFakePort(d)
		r := run(t, inTurn(p), d, nil, func(l *Link) { l.Profile = script{Profile: form(t), again: "NAK"} })
		p.in <- "#1;half\r\n"
		d.expect(t, `refusal form "#1;half\r\n"`, "write NAK")
		if err := r.over(); err != nil {
			t.Error(err)
		}
	})
}

func TestTalk_FrameThatFitsIsAcknowledgedThoughRefused(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDiary()
		p := newFakePort(d)
		r := run(t, inTurn(p), d, nil, func(l *Link) {
			l.Profile = script{Profile: form(t), again: "NAK", decode: func(profile.Result) profile.Result {
				return profile.Result{Refusal: &device.Refusal{Reason: device.ReasonValue}, Answer: []byte("=9")}
			}}
		})
		p.in <- "#9;9999999\r\n"
		d.expect(t, `refusal value ""`, "write =9")
		if err := r.over(); err != nil {
			t.Error(err)
		}
	})
}

func TestTalk_FloodOfRefusedFrames(t *testing.T) {
	const flood = 500
	synctest.Test(t, func(t *testing.T) {
		d := newDiary()
		p := newFakePort(d)
		var refused int64
		r := run(t, inTurn(p), d, nil, func(l *Link) {
			l.Profile = script{Profile: form(t), again: "NAK"}
			l.Sink = refusals{l.Sink, func(r device.Refusal) { refused += 1 + r.More }}
		})
		p.in <- strings.Repeat("#0\r\n", flood)
		p.in <- pull(t, 1)
		synctest.Wait()
		if err := r.over(); err != nil {
			t.Error(err)
		}
		got := d.read()
		if want := []string{`refusal form "#0\r\n"`, "reading 1", "write " + ack(1)}; len(got) != 2*evidence.Free+3 || !slices.Equal(got[2*evidence.Free:], want) {
			t.Errorf("got %d entries that end with %q, want %d refusals, each answered, and %q", len(got), got[max(0, len(got)-3):], evidence.Free, want)
		}
		if refused != flood {
			t.Errorf("got %d refused frames in all, want %d", refused, flood)
		}
	})
}

// refusals is a Sink that shows the refused frames as they came.
type refusals struct {
	Sink
	show func(device.Refusal)
}

func (s refusals) Refusal(ctx context.Context, r device.Refusal) error {
	s.show(r)
	return s.Sink.Refusal(ctx, r)
}

func TestTalk_RestOfAFloodIsRecordedAtTheEnd(t *testing.T) {
	for _, c := range []struct {
		rule string
		end  func(*fakePort, running)
	}{
		{"of the port", func(p *fakePort, r running) { close(p.in) }},
		{"of the link", func(p *fakePort, r running) { r.end() }},
	} {
		t.Run(c.rule, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := newDiary()
				p := newFakePort(d)
				r := run(t, inTurn(p), d, nil)
				p.in <- strings.Repeat("#0\r\n", evidence.Free+5)
				synctest.Wait()
				c.end(p, r)
				synctest.Wait()
				if got := len(d.read()); got != evidence.Free+1 {
					t.Errorf("got %d refusals recorded, want %d and one for the rest", got, evidence.Free)
				}
				if err := r.over(); err != nil {
					t.Error(err)
				}
			})
		})
	}
}

// judge is a Sink that knows verdicts.
type judge struct {
	*diary
	pass, known bool
}

func (j judge) Verdict(_ context.Context, r device.Reading) (pass, known bool) {
	j.write(fmt.Sprintf("verdict of %d", *r.Counter))
	return j.pass, j.known
}

func TestTalk_TellsTheVerdict(t *testing.T) {
	told := []string{"reading 1", "write " + ack(1), "verdict of 1"}
	for _, c := range []struct {
		rule        string
		form        script
		pass, known bool
		want        []string
	}{
		{"a reading that was right", script{pass: "G", fail: "B"}, true, true, append(slices.Clone(told), "write G")},
		{"a reading that was wrong", script{pass: "G", fail: "B"}, false, true, append(slices.Clone(told), "write B")},
		{"a reading of which nobody knows", script{pass: "G", fail: "B"}, true, false, told},
		{"a wrench that can only show what is wrong", script{fail: "B"}, true, true, told},
		{"a wrench that shows nothing", script{}, true, true, told[:2]},
	} {
		t.Run(c.rule, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := newDiary()
				p := newFakePort(d)
				c.form.Profile = form(t)
				r := run(t, inTurn(p), d, nil, func(l *Link) { l.Profile, l.Sink = c.form, judge{d, c.pass, c.known} })
				p.in <- pull(t, 1)
				d.expect(t, c.want...)
				p.in <- pull(t, 1) // sent again: acknowledged, and judged no second time
				d.expect(t, append(slices.Clone(c.want), "write "+ack(1))...)
				if err := r.over(); err != nil {
					t.Error(err)
				}
			})
		})
	}
}
