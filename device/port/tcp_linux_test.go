package port

import (
	"net"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// both opens a connection by two places and gives its two sides.
func both(t *testing.T, wishes ...Option) map[string]Port {
	t.Helper()
	free := hear(t)
	addr := free.Addr()
	free.Close()
	here, err := At("tcp-listen://"+addr, Mode{}, wishes...)
	if err != nil {
		t.Fatal(err)
	}
	there, err := At("tcp://"+addr, Mode{}, wishes...)
	if err != nil {
		t.Fatal(err)
	}
	accepted := make(chan Port, 1)
	go func() {
		p, err := here.Open(t.Context())
		if err != nil {
			t.Error(err)
		}
		accepted <- p
	}()
	var dialled Port
	for dialled == nil { // until it listens
		dialled, _ = there.Open(t.Context())
	}
	sides := map[string]Port{"dialled": dialled, "accepted": <-accepted}
	t.Cleanup(func() {
		for _, p := range sides {
			p.Close()
		}
		here.Close()
	})
	return sides
}

// By tcp(7): TCP_USER_TIMEOUT ends a connection whose keep-alive questions stay unanswered, whatever their count.
func TestTCP_LimitsSilence(t *testing.T) {
	for rule, tc := range map[string]struct {
		wishes             []Option
		idle, between, end int
	}{
		"by itself after 30 s":             {nil, 10, 5, 30_000},
		"or as asked for":                  {[]Option{Idle(time.Minute)}, 20, 10, 60_000},
		"a short limit asks each second":   {[]Option{Idle(MinIdle)}, 1, 1, 3000},
		"the last wish is the one granted": {[]Option{Idle(time.Hour), Idle(12 * time.Second)}, 4, 2, 12_000},
	} {
		t.Run(rule, func(t *testing.T) {
			for side, p := range both(t, tc.wishes...) {
				raw, err := p.(*line).ch.(*net.TCPConn).SyscallConn()
				if err != nil {
					t.Fatal(err)
				}
				for _, o := range []struct {
					name                string
					level, option, want int
				}{
					{"keep-alive", unix.SOL_SOCKET, unix.SO_KEEPALIVE, 1},
					{"idle seconds", unix.IPPROTO_TCP, unix.TCP_KEEPIDLE, tc.idle},
					{"seconds between questions", unix.IPPROTO_TCP, unix.TCP_KEEPINTVL, tc.between},
					{"questions", unix.IPPROTO_TCP, unix.TCP_KEEPCNT, 4},
					{"milliseconds unanswered", unix.IPPROTO_TCP, unix.TCP_USER_TIMEOUT, tc.end},
				} {
					var got int
					if cerr := raw.Control(func(fd uintptr) { got, err = unix.GetsockoptInt(int(fd), o.level, o.option) }); cerr != nil || err != nil {
						t.Fatal(cerr, err)
					}
					if got != o.want {
						t.Errorf("%s side, %s: got %d, want %d", side, o.name, got, o.want)
					}
				}
			}
		})
	}
}
