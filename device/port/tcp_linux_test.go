package port

import (
	"net"
	"testing"

	"golang.org/x/sys/unix"
)

func TestTCP_LimitsSilence(t *testing.T) {
	l := hear(t)
	dialled := mustDial(t, l.Addr())
	accepted := mustAccept(t, l)
	for side, p := range map[string]Port{"dialled": dialled, "accepted": accepted} {
		raw, err := p.(*line).ch.(*net.TCPConn).SyscallConn()
		if err != nil {
			t.Fatal(err)
		}
		for _, o := range []struct {
			name                string
			level, option, want int
		}{
			{"keep-alive", unix.SOL_SOCKET, unix.SO_KEEPALIVE, 1},
			{"idle seconds", unix.IPPROTO_TCP, unix.TCP_KEEPIDLE, 10},
			{"seconds between questions", unix.IPPROTO_TCP, unix.TCP_KEEPINTVL, 5},
			{"questions", unix.IPPROTO_TCP, unix.TCP_KEEPCNT, 3},
			{"milliseconds unanswered", unix.IPPROTO_TCP, unix.TCP_USER_TIMEOUT, 25_000},
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
}
