package evidence

import (
	"time"

	"witnessmark/device"
)

const (
	// Free is how many refused frames in a row are all recorded.
	Free = 20
	// Every is how often one refused frame of a reason is recorded after that.
	Every = time.Second
)

// Limiter says which refused frames of one wrench are to be recorded one by one. Noise at a wrong baud rate is hundreds
// of them a second, all alike, and what they hold lies on the Tape: the first Free in a row are recorded as they come,
// then of each reason one in Every, and the others are counted in the More of the next. The zero Limiter is ready; it
// belongs to one goroutine. What a crash loses is the number of those held back, and no bytes.
type Limiter struct {
	row     int // refused frames since the last good one
	reasons []reason
}

// reason is the present row as far as frames refused for one reason go.
type reason struct {
	name     string
	recorded time.Time // when the last one was let through
	held     int64
	last     device.Refusal // the newest of those held
}

// Refused takes a refused frame that came at a time, and gives what is to be recorded now, if anything is.
func (l *Limiter) Refused(at time.Time, r device.Refusal) (now device.Refusal, record bool) {
	l.row++
	s := l.reason(r.Reason)
	if since := at.Sub(s.recorded); l.row > Free && since >= 0 && since < Every { // a clock that was set back holds nothing
		s.held += 1 + r.More
		s.last = r
		return device.Refusal{}, false
	}
	r.More += s.held
	s.recorded, s.held, s.last = at, 0, device.Refusal{}
	return r, true
}

// Over ends the row, because a good frame came, the port is gone or the daemon ends, and gives what is to be recorded
// of the frames that were held back: of each reason the newest, which stands for the others.
func (l *Limiter) Over() []device.Refusal {
	var rest []device.Refusal
	for _, s := range l.reasons {
		if s.held > 0 {
			s.last.More = s.held - 1
			rest = append(rest, s.last)
		}
	}
	l.row, l.reasons = 0, l.reasons[:0]
	return rest
}

func (l *Limiter) reason(name string) *reason {
	for i := range l.reasons {
		if l.reasons[i].name == name {
			return &l.reasons[i]
		}
	}
	l.reasons = append(l.reasons, reason{name: name})
	return &l.reasons[len(l.reasons)-1]
}
