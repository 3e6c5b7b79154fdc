package store

import (
	"context"
	"net"
	"time"
)

// What is asked of a connection on which nothing comes: after keepIdle, and then every keepEvery, whether anybody is there. Who
// has not answered keepTries times is gone. The server is told to ask the same of us, see impatient.
const (
	keepIdle  = 30 * time.Second
	keepEvery = 10 * time.Second
	keepTries = 3
	// gone is how long what was sent may stay without a sign that it arrived, for on such a connection nothing is asked.
	gone = keepIdle + keepTries*keepEvery
)

// dial connects to PostgreSQL so that a server which is gone without a word, as one whose cable was pulled, is noticed by whoever
// waits for its answer with no bound of their own.
func dial(ctx context.Context, network, addr string) (net.Conn, error) {
	d := net.Dialer{Control: giveUp,
		KeepAliveConfig: net.KeepAliveConfig{Enable: true, Idle: keepIdle, Interval: keepEvery, Count: keepTries}}
	return d.DialContext(ctx, network, addr)
}
