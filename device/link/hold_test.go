package link

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"
	"testing/synctest"

	"witnessmark/device/port"
)

// closing is a place whose Close is counted and fails.
type closing struct {
	fakePlace
	closed int
}

var errClose = errors.New("the listener does not close")

func (c *closing) Close() error {
	c.closed++
	return errClose
}

func TestHold_ErrorOfTalkEndsIt(t *testing.T) {
	place := &closing{fakePlace: inTurn(newFakePort(newDiary()))}
	full := errors.New("the disk is full")
	var told []string
	err := Hold(t.Context(), place, func(up bool, reason string) {
		if !up {
			told = append(told, reason)
		}
	}, func(_ context.Context, p port.Port) (bool, error, error) {
		return true, port.ErrClosed, errors.Join(full, p.Close())
	})
	if !errors.Is(err, full) || !errors.Is(err, errClose) {
		t.Errorf("got %v, want %v and %v", err, full, errClose)
	}
	if place.closed != 1 {
		t.Errorf("got the place closed %d times, want once", place.closed)
	}
	if want := []string{ended}; !slices.Equal(told, want) {
		t.Errorf("got told %q, want %q", told, want)
	}
}

func TestHold_EndsWhileItPauses(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() { done <- Hold(ctx, inTurn(), func(bool, string) {}, nil) }()
		synctest.Wait()
		cancel()
		synctest.Wait()
		select {
		case err := <-done:
			if err != nil {
				t.Errorf("got %v, want no error at the end of ctx", err)
			}
		default:
			t.Error("got a Hold that goes on pausing after the end of ctx")
		}
	})
}

// stuckPort does not close.
type stuckPort struct{ *fakePort }

func (p stuckPort) Close() error {
	p.fakePort.Close()
	return fmt.Errorf("close wrench: %w", port.ErrStuck)
}

func TestHold_SaysAtTheEndThatAPortIsStuck(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDiary()
		opened := false
		r := run(t, fakePlace(func(context.Context) (port.Port, error) {
			if opened {
				return nil, errors.New("still held")
			}
			opened = true
			return stuckPort{newFakePort(d)}, nil
		}), d, nil)
		synctest.Wait()
		if err := r.over(); !errors.Is(err, port.ErrStuck) {
			t.Errorf("got %v, want %v", err, port.ErrStuck)
		}
	})
}
