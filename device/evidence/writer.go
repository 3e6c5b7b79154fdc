package evidence

import (
	"fmt"
	"time"
)

// pause is how long the writer leaves a disk alone that took nothing.
const pause = time.Second

// writer is the goroutine of a Tape that writes.
type writer struct {
	tape    *Tape
	reel    reel
	trouble func(error)
	broken  bool // trouble was told so
}

// run writes what waits until the Tape is closed and nothing does.
func (w *writer) run() {
	defer close(w.tape.written)
	var b batch
	for {
		closing := w.tape.isClosing() // asked first: what was put before Close is there to be taken
		if !b.more() {
			b = w.tape.take(b.emptied())
		}
		if !b.more() {
			if closing {
				w.tape.failed = w.named(w.reel.end())
				return
			}
			select {
			case <-w.tape.wake:
			case <-w.tape.closing:
			}
			continue
		}
		err := w.reel.write(&b)
		w.tell(err)
		switch {
		case err != nil && closing:
			w.giveUp(b, err)
			return
		case err != nil:
			select {
			case <-time.After(pause):
			case <-w.tape.closing:
			}
		}
	}
}

// tell makes news of the first failure in a row, and of its end.
func (w *writer) tell(err error) {
	if broken := err != nil; broken != w.broken {
		w.broken = broken
		if err != nil {
			err = fmt.Errorf("keep raw evidence of wrench %s (make room on the disk of %s, or let the daemon write there): %w",
				w.tape.wrench, w.reel.folder, err)
		}
		if w.trouble != nil {
			w.trouble(err)
		}
	}
}

// giveUp ends the Tape on a disk that takes nothing.
func (w *writer) giveUp(b batch, err error) {
	rest := w.tape.take(batch{})
	lost := b.lost() + rest.lost()
	w.tape.leave(lost)
	w.reel.end() // says no more than err
	w.tape.failed = w.named(fmt.Errorf("%d bytes could not be written: %w", lost, err))
}

func (w *writer) named(err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("keep raw evidence of wrench %s: %w", w.tape.wrench, err)
}
