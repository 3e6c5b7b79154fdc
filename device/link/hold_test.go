package link

import (
	"context"
	"errors"
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
