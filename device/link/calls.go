package link

import (
	"slices"
	"time"

	"witnessmark/device/profile"
)

// lull is how long the line must have been silent before we speak unasked. A frame that is coming in shows itself in
// less: a USB adapter may hold bytes back for 16 ms, and at 1200 baud one byte takes 9 ms.
const lull = 30 * time.Millisecond

// calls are what is said to the wrench again and again: polls and keep-alives. They belong to the handler, so that none
// comes between a reading and its acknowledgement.
type calls struct {
	list  []profile.Call
	due   []time.Time // of each
	timer *time.Timer // ends when one is due
}

// newCalls has each call due one interval from now.
func newCalls(list []profile.Call) *calls {
	c := &calls{list: list, timer: time.NewTimer(time.Hour)}
	c.timer.Stop()
	now := time.Now()
	for _, call := range list {
		c.due = append(c.due, now.Add(call.Every))
	}
	c.wind(now)
	return c
}

// say says what is due, once however late it is. While a frame is coming in it waits, but never for longer than its own
// interval: a line that is never silent is disturbed, and answers that are spoilt by a poll are spoilt already.
func (c *calls) say(silent time.Duration, say func([]byte)) {
	now := time.Now()
	for i, call := range c.list {
		late := now.Sub(c.due[i])
		if late < 0 || silent < lull && late < call.Every {
			continue
		}
		say(call.Text)
		c.due[i] = now.Add(call.Every)
	}
	c.wind(now.Add(lull - silent))
}

// wind sets the timer to what is due first, but not before a time.
func (c *calls) wind(earliest time.Time) {
	if len(c.due) == 0 {
		return
	}
	first := slices.MinFunc(c.due, time.Time.Compare)
	if first.Before(earliest) {
		first = earliest
	}
	c.timer.Reset(time.Until(first))
}
