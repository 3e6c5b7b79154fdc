package daemon

import (
	"context"
	"testing"

	"witnessmark/audit"
	"witnessmark/device"
)

func TestLive_SlowWatcherIsDropped(t *testing.T) {
	j := newPages(0)
	l := newLive(j)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- l.follow(ctx) }()
	slow, _ := l.watch("1")
	other, stop := l.watch("2")
	defer stop()
	const n = 10 * slack
	for range n {
		j.add(audit.ReadingTaken{Bench: "1", Reading: device.Reading{Wrench: "TW-01"}})
	}
	if err := l.await(t.Context(), ctx, n); err != nil {
		t.Fatalf("got %v, want the follower to go on", err)
	}
	got := 0
	for range slow { // ends because the channel is closed
		got++
	}
	if got != slack {
		t.Errorf("got %d updates before the end, want the %d that there was room for", got, slack)
	}
	if first := <-other; first.View.Bench != "2" || len(other) != 0 {
		t.Errorf("got %+v and %d more, want the present state of bench 2 alone", first, len(other))
	}
	cancel()
	<-done
	if _, open := <-other; open {
		t.Error("got an open watch, want it closed when the follower ends")
	}
}

func TestLive_AwaitEndsWithTheDaemon(t *testing.T) {
	l := newLive(newPages(0))
	life, end := context.WithCancel(t.Context())
	end()
	if err := l.await(t.Context(), life, 1); err != errEnding {
		t.Errorf("got %v, want %v", err, errEnding)
	}
}
