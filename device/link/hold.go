package link

import (
	"context"
	"errors"

	"witnessmark/device/port"
)

// Hold opens a place, and opens it again whenever its port was lost, until ctx ends; it then returns nil, or that the
// system does not let go of the port. Between attempts that fail it pauses for longer and longer, up to LongestPause. A
// port that opens and gives nothing is no better than one that does not open.
//
// talk is given each open port. It closes it, and returns once the port is closed: heard says whether anything came,
// lost why the port is gone. Its err ends Hold, which returns it. tell hears of every opening, and of every loss and
// every attempt that failed with a reason for people; the same reason again is no news. Both are called by the
// goroutine of Hold alone. The place is closed when Hold returns.
func Hold(ctx context.Context, place port.Place, tell func(up bool, reason string),
	talk func(ctx context.Context, p port.Port) (heard bool, lost, err error)) error {
	h := hold{place: place, tell: tell, talk: talk}
	return errors.Join(h.run(ctx), place.Close())
}

// ended is the reason why a port is not open after the end of ctx.
const ended = "the link was ended"

type hold struct {
	place port.Place
	tell  func(up bool, reason string)
	talk  func(ctx context.Context, p port.Port) (heard bool, lost, err error)
	last  string // reason that was told last; empty while the port is open and before the first attempt
}

func (h *hold) run(ctx context.Context) error {
	var pause backoff
	defer h.down(ended)
	for ctx.Err() == nil {
		heard, lost, err := h.connect(ctx)
		if ctx.Err() != nil || err != nil {
			return errors.Join(err, stuck(lost))
		}
		h.down(lost.Error())
		if heard {
			pause = backoff{}
		}
		pause.rest(ctx)
	}
	return nil
}

// connect holds one connection from plug to unplug. lost says why it is gone, or never came; err is of talk.
func (h *hold) connect(ctx context.Context) (heard bool, lost, err error) {
	p, lost := h.place.Open(ctx)
	if lost != nil {
		return false, lost, nil
	}
	h.last = ""
	h.tell(true, "")
	return h.talk(ctx, p)
}

// stuck is the loss of a port that the system does not let go of: the one that is to be heard of at the end too.
func stuck(lost error) error {
	if errors.Is(lost, port.ErrStuck) {
		return lost
	}
	return nil
}

func (h *hold) down(reason string) {
	if h.last == reason {
		return
	}
	h.last = reason
	h.tell(false, reason)
}
