package link

import (
	"context"
	"time"
)

// The pause before the next attempt to open a port doubles from firstPause to LongestPause.
const (
	firstPause   = 100 * time.Millisecond
	LongestPause = 2 * time.Second
)

// backoff is the pauses between attempts that fail in a row.
type backoff struct{ last time.Duration }

func (b *backoff) next() time.Duration {
	b.last = min(max(2*b.last, firstPause), LongestPause)
	return b.last
}

// rest waits for the next pause to pass, or for ctx to end.
func (b *backoff) rest(ctx context.Context) {
	t := time.NewTimer(b.next())
	defer t.Stop()
	select {
	case <-t.C:
	case <-ctx.Done():
	}
}
