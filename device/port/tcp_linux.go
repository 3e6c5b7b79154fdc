package port

import (
	"errors"
	"net"
	"time"

	"golang.org/x/sys/unix"
)

// limitSilence ends a connection whose peer answers nothing. Keep-alive alone does not: while an acknowledgement of
// ours is on its way it rests, and the system sends that again for a quarter of an hour. Where this limit is set, it
// also takes the place of the count of keep-alive questions: the one that is due after the limit ends the connection.
func limitSilence(conn *net.TCPConn, idle time.Duration) error {
	raw, err := conn.SyscallConn()
	if err != nil {
		return err
	}
	var set error
	err = raw.Control(func(fd uintptr) {
		set = unix.SetsockoptInt(int(fd), unix.IPPROTO_TCP, unix.TCP_USER_TIMEOUT, int(idle.Milliseconds()))
	})
	return errors.Join(err, set)
}
