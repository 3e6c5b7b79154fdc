// Package link keeps one wrench connected: it opens its port and opens it again when the plug was pulled, cuts and
// decodes what the wrench sends, and acknowledges a reading only when it is durable.
//
//	port ─bytes→ reader ─frames→ [queue] ─→ handler ─reading→ Sink, then ─ack→ port
//
// The reader sits in Read whatever the Sink does, as long as the queue has room: a line that a serial driver holds
// when the plug is pulled is lost. What a crash leaves: readings in the queue are neither durable nor acknowledged,
// and a wrench that waits for an acknowledgement sends them again. A reading that was durable, but whose
// acknowledgement never went out, comes again too; Link.Last lets the next run know it.
package link

import (
	"context"
	"fmt"
	"sync"
	"time"

	"witnessmark/device"
	"witnessmark/device/frame"
	"witnessmark/device/port"
	"witnessmark/device/profile"
)

// Profile is what a link needs to know of how a wrench speaks. A *profile.Profile is one.
type Profile interface {
	Mode() profile.Mode
	NewFramer() *frame.Framer
	Decode(wrench string, f frame.Frame) profile.Result
	Ack(r device.Reading) []byte // nil: this wrench knows none
}

// Sink takes what came. Its methods are called one at a time, in the order of the wire.
type Sink interface {
	// Reading returns nil once the reading is durable: the wrench is then told to forget it. An error ends the link,
	// and the wrench keeps the reading. ctx ends Grace after that of Run.
	Reading(ctx context.Context, r device.Reading) error
	// Refusal returns nil once the refused frame is durable. An error ends the link.
	Refusal(ctx context.Context, r device.Refusal) error
}

// State is how the wrench fares at present.
type State struct {
	Up     bool      // the port is open; of tcp-listen: a wrench is there
	Reason string    // why it is not up, for people; empty while it is, and before the first attempt
	Seen   time.Time // when bytes last came, by our clock; zero: not since Run began
	Resent int       // readings since Run began that came again and were not handed on
}

// Link is one wrench and what is to become of its readings.
type Link struct {
	Wrench  string // its id in this shop
	Spec    string // where it is plugged in, in the form of port.At
	Profile Profile
	Sink    Sink
	// Notice is told every change of the state, and every coming of bytes, one call at a time. It must return at once:
	// the reader waits for it. nil: nobody listens.
	Notice func(State)
	// Last is the newest reading of the wrench that is durable from before; nil: none.
	Last *device.Reading
}

const (
	// Queue is how many frames wait for the Sink, each of at most device.MaxRaw bytes; then the reader waits too.
	Queue = 256
	// Grace is how long the Sink may take for what is in the queue when Run is to end.
	Grace = 5 * time.Second
)

// Run keeps the wrench connected until ctx ends and then returns nil, after everything in the queue went to the Sink
// and was acknowledged. Its error is that of the Sink, or says that the spec can never work; a port that cannot be
// opened is no error but a State, and is tried again.
func Run(ctx context.Context, l Link) error {
	place, err := port.At(l.Spec, port.Mode(l.Profile.Mode()))
	if err != nil {
		return err
	}
	return newKeeper(l).keep(ctx, place)
}

// keeper is a Link at work.
type keeper struct {
	Link
	recent recent

	mu    sync.Mutex // guards state, and makes one call of Notice wait for another
	state State
}

func newKeeper(l Link) *keeper {
	k := &keeper{Link: l}
	if l.Last != nil {
		k.recent.add(*l.Last)
	}
	return k
}

// keep connects until ctx ends or the sink fails.
func (k *keeper) keep(ctx context.Context, place port.Place) error {
	late, cancel := graced(ctx)
	defer cancel()
	return Hold(ctx, place,
		func(up bool, reason string) { k.tell(func(s *State) { s.Up, s.Reason = up, reason }) },
		func(ctx context.Context, p port.Port) (heard bool, lost, err error) {
			return newTalk(k, p).hold(ctx, late)
		})
}

// graced gives a context that ends Grace after ctx: what came before the end of ctx is to be kept.
func graced(ctx context.Context) (context.Context, context.CancelFunc) {
	late, cancel := context.WithCancel(context.WithoutCancel(ctx))
	stop := context.AfterFunc(ctx, func() {
		timer := time.NewTimer(Grace)
		defer timer.Stop()
		select {
		case <-timer.C:
			cancel()
		case <-late.Done():
		}
	})
	return late, func() { stop(); cancel() }
}

func (k *keeper) tell(change func(*State)) {
	k.mu.Lock()
	defer k.mu.Unlock()
	change(&k.state)
	if k.Notice != nil {
		k.Notice(k.state)
	}
}

// sunk names the wrench in an error of the sink.
func (k *keeper) sunk(what string, err error) error {
	return fmt.Errorf("keep a %s of wrench %s: %w", what, k.Wrench, err)
}
