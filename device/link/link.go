// Package link keeps one wrench connected: it opens its port and opens it again when the plug was pulled, cuts and
// decodes what the wrench sends, and acknowledges a reading only when it is durable.
//
//	port ─bytes→ reader ─frames→ [queue] ─→ handler ─reading→ Sink, then ─acknowledgement, verdict→ port
//	                                        └───────polls, keep-alive→ port
//
// The reader sits in Read whatever the Sink does, as long as the queue has room: a line that a serial driver holds
// when the plug is pulled is lost. What a crash leaves: readings in the queue are neither durable nor acknowledged,
// and a wrench that waits for an acknowledgement sends them again. A reading that was durable, but whose
// acknowledgement never went out, comes again too; Link.Memory lets the next run know it.
package link

import (
	"context"
	"fmt"
	"sync"
	"time"

	"witnessmark/device"
	"witnessmark/device/frame"
	"witnessmark/device/memory"
	"witnessmark/device/port"
	"witnessmark/device/profile"
)

// Profile is what a link needs to know of how a wrench speaks. A *profile.Profile is one. What is to be sent is nil
// where this form of wrench knows no such thing.
type Profile interface {
	NewFramer() *frame.Framer
	Gap() time.Duration // silence that the framer must be told of; 0: none
	Start() [][]byte    // sent in order when the port was opened
	Calls() []profile.Call
	Decode(wrench string, f frame.Frame) profile.Result
	Ack(r device.Reading) []byte // sent when the reading is durable
	Tell(r device.Reading, pass bool) []byte
	Refuse(r device.Refusal) []byte // asks for a frame again
}

// Sink takes what came. Its methods are called one at a time, in the order of the wire. ctx ends Grace after that of Run.
type Sink interface {
	// Reading returns once the reading is durable, with the number that it has then, which rises: the wrench is told to forget
	// it. An error ends the link, and the wrench keeps the reading. came is when the last of its bytes were read from the port.
	Reading(ctx context.Context, r device.Reading, came time.Time) (number uint64, err error)
	// Refusal returns nil once the refused frame is durable, and so are those that it stands for. An error ends the link.
	Refusal(ctx context.Context, r device.Refusal) error
}

// Judge is a Sink that can say whether a reading was right.
type Judge interface {
	// Verdict is asked for the reading that Reading returned for just before, once that is acknowledged, if the
	// wrench can be told. The frames behind wait meanwhile. known: somebody judged it in time.
	Verdict(ctx context.Context, r device.Reading) (pass, known bool)
}

// Link is one wrench and what is to become of its readings.
type Link struct {
	Wrench  string     // its id in this shop
	Place   port.Place // where it is plugged in; Run closes it
	Profile Profile
	Sink    Sink
	// Serial is the serial number that the wrench speaks; empty: whatever it speaks is right. A reading that names
	// another one is refused and not acknowledged, so that the wrench keeps it for whom it belongs to.
	Serial string
	// Evidence is given everything that came, whatever becomes of it, by the goroutine that reads; nil: nobody keeps it.
	Evidence Evidence
	// Notice is told every change of the state, and every coming of bytes, one call at a time. It must return at once:
	// the reader waits for it. nil: nobody listens.
	Notice func(State)
	// Memory knows the readings of the wrench that are durable from before, and is told of every other one. Who reads back what
	// is durable may tell it too. nil: there are none from before.
	Memory *memory.Memory
	// Stale and Gone are how long an open port may be silent until the wrench is held to be stale, and to be gone.
	// 0: StalePolls and GonePolls intervals where the profile polls; else however long.
	Stale, Gone time.Duration
	// Reopen closes a port that was silent until the wrench is gone, and opens it again. That cures a connection whose
	// other end hangs. A serial port is better left open: opening one may reset the wrench.
	Reopen bool
}

// Evidence takes the bytes of a port as they came. It must return at once: the reader waits for it.
type Evidence interface {
	Took(at time.Time, b []byte) // b is the reader's own again after the call
	Gone(at time.Time)           // the port gives no more
}

const (
	// Queue is how many frames wait for the Sink, each of at most device.MaxRaw bytes; then the reader waits too.
	Queue = 256
	// StalePolls and GonePolls are how many polls in a row may stay without an answer.
	StalePolls = 3
	GonePolls  = 10
	// Grace is how long the Sink may take for what is in the queue when Run is to end.
	Grace = 5 * time.Second
)

// Run keeps the wrench connected until ctx ends and then returns nil, after everything in the queue went to the Sink
// and was acknowledged. Its error is that of the Sink; a port that cannot be opened is no error but a State, and is
// tried again.
func Run(ctx context.Context, l Link) error {
	late, cancel := graced(ctx)
	defer cancel()
	k := newKeeper(l)
	return Hold(ctx, l.Place, k.plug, func(ctx context.Context, p port.Port) (heard bool, lost, err error) {
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

// keeper is a Link at work.
type keeper struct {
	Link
	here *presence
	hung chan struct{} // closed when the open port is to be given up for its silence; nil: it is kept
}

func newKeeper(l Link) *keeper {
	if l.Memory == nil {
		l.Memory = memory.New()
	}
	return &keeper{Link: l, here: newPresence(l)}
}

// plug books that the port was opened, or is not there.
func (k *keeper) plug(up bool, reason string) {
	if !up {
		k.here.down(reason)
		return
	}
	where := ""
	if w, tells := k.Place.(interface{ Where() string }); tells {
		where = w.Where()
	}
	var giveUp func()
	if k.Reopen {
		k.hung = make(chan struct{})
		giveUp = sync.OnceFunc(func() { close(k.hung) })
	}
	k.here.up(where, giveUp)
}

// sunk names the wrench in an error of the sink.
func (k *keeper) sunk(what string, err error) error {
	return fmt.Errorf("keep a %s of wrench %s: %w", what, k.Wrench, err)
}
