package finder

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"sync"
	"time"

	"witnessmark/device"
	"witnessmark/device/frame"
	"witnessmark/device/port"
	"witnessmark/device/profile"
)

// Different settings of the line take turns at a free port. A turn ends after turnFor, or sooner when something came
// that nobody understood; once a reading was understood it never ends.
const (
	turnFor  = 6 * time.Second
	settling = time.Second            // what comes sooner after the opening may be the end of a frame
	hushFor  = 300 * time.Millisecond // nothing came for so long: a frame would be over
)

// keepAtMost bounds the bytes that wait for a reader. At a port that nobody has taken, what comes beyond it pushes the
// oldest out; one that is taken is then read no further.
const keepAtMost = 64 << 10

// errTurn ends a tap so that the next setting gets its turn.
var errTurn = errors.New("another setting of the line is tried")

// tap is a port that is read and listened at. To whom its bytes belong may turn out late, and may change.
type tap struct {
	board  *Board
	node   string
	port   port.Port // set before anything else runs
	opened time.Time
	done   chan struct{} // closed when nobody reads any more

	// Guarded by board.mu.
	ears     []*ear
	owner    *lease // who gets what comes; nil: nobody yet
	held     pieces // what came for nobody yet
	dropped  int64  // how much of that was too much to keep
	recent   []byte // the end of all that came, in which the beginning of a frame is found
	settled  bool   // a reading was understood here
	heard    time.Time
	stranger string     // the last serial number said here that no wrench of the configuration has
	over     error      // why it has ended
	moved    *sync.Cond // something was read, taken, or ended
}

// newTap is called with board.mu held; nobody else opens the node from then on.
func (b *Board) newTap(node string, group []*profile.Profile) *tap {
	t := &tap{board: b, node: node, done: make(chan struct{}), moved: sync.NewCond(&b.mu)}
	for _, p := range group {
		t.ears = append(t.ears, t.newEar(p))
	}
	b.taps[node] = t
	return t
}

// join adds ears for wrenches that are looked for since, where the line is set for them.
func (t *tap) join(groups [][]*profile.Profile) {
	for _, p := range slices.Concat(groups...) {
		if together(t.ears[0].profile, p) && !t.hears(p) {
			t.ears = append(t.ears, t.newEar(p))
		}
	}
}

func (t *tap) hears(p *profile.Profile) bool {
	return slices.ContainsFunc(t.ears, func(e *ear) bool { return same(e.profile, p) })
}

// listen opens a free port in its own time: one that hangs delays no other.
func (b *Board) listen(node string, group []*profile.Profile) {
	t := b.newTap(node, group)
	b.jobs.Go(func() {
		err := unused(node)
		if err == nil {
			err = t.begin(b.life)
		}
		if err != nil {
			t.fail(err)
			return
		}
		b.jobs.Go(t.takeTurn)
		t.ask()
	})
}

// unused leaves a port alone that another program has open. A wrench's own port is taken all the same if it can be;
// here nobody knows yet whose it is.
func unused(node string) error {
	for _, h := range port.Holders(node) {
		if h.PID != os.Getpid() {
			return fmt.Errorf("%s has it open", h)
		}
	}
	return nil
}

// begin opens the port and reads it from then on.
func (t *tap) begin(ctx context.Context) error {
	p, err := t.board.open(ctx, t.node, t.ears[0].profile)
	if err != nil {
		return err
	}
	t.board.mu.Lock()
	defer t.board.mu.Unlock()
	t.port, t.opened = p, time.Now()
	delete(t.board.trouble, t.node)
	t.board.tell()
	t.board.jobs.Go(t.pump)
	return nil
}

// fail books a port that did not open. It is tried again at the next look.
func (t *tap) fail(err error) {
	b := t.board
	b.mu.Lock()
	defer b.mu.Unlock()
	close(t.done)
	t.over = err
	t.forget()
	b.turns[t.node]++ // a wrench that must answer before its port counts as open may not be the one that is here
	if before := b.trouble[t.node]; t.owner == nil && (before == nil || before.Error() != err.Error()) {
		b.trouble[t.node] = err
		b.tell()
	}
}

// pump reads until the port is gone, whoever gets it. It always sits in Read, because what a driver holds when the plug
// is pulled is lost; only an owner that takes nothing makes it wait.
func (t *tap) pump() {
	chunk := make([]byte, 4096)
	for {
		n, err := t.port.Read(chunk)
		if n > 0 {
			t.took(chunk[:n])
		}
		if err != nil {
			t.ended(err)
			return
		}
	}
}

// took listens to what came, byte by byte, so that the end of what an ear understands is known.
func (t *tap) took(chunk []byte) {
	t.board.mu.Lock()
	defer t.board.mu.Unlock()
	for _, c := range chunk {
		if len(t.recent) == 2*device.MaxRaw {
			t.recent = append(t.recent[:0], t.recent[device.MaxRaw:]...)
		}
		t.recent = append(t.recent, c)
		t.keep(c)
		for _, e := range t.ears {
			e.framer.Push(t.recent[len(t.recent)-1:], e.emit)
		}
	}
	t.heard = time.Now()
	for _, e := range t.ears {
		e.hush.Reset(e.gap)
	}
	t.moved.Broadcast()
	for t.owner != nil && len(t.owner.bytes) >= keepAtMost && !t.owner.closed && t.board.life.Err() == nil {
		t.moved.Wait()
	}
}

func (t *tap) keep(c byte) {
	if t.owner == nil && len(t.held.bytes) == keepAtMost {
		t.held.drop(keepAtMost / 2)
		t.dropped += keepAtMost / 2
	}
	p := t.kept()
	p.bytes = append(p.bytes, c)
}

// kept is where what comes is put.
func (t *tap) kept() *pieces {
	if t.owner != nil {
		return &t.owner.pieces
	}
	return &t.held
}

// understood finds out whose a frame is.
func (t *tap) understood(p *profile.Profile, f frame.Frame) {
	r := p.Decode("", f).Reading
	if r == nil {
		return
	}
	t.settled = true
	switch place := t.board.speaker(r.Serial, p); {
	case place == nil && t.owner == nil && r.Serial != "" && r.Serial != t.stranger:
		t.stranger = r.Serial
		if heard := t.board.Heard; heard != nil {
			heard(Stranger{t.node, r.Serial})
		}
		t.board.tell()
	case place == nil: // the owner's link sees for itself that this is another one
	case t.owner != nil && t.owner.place == place:
		t.owner.spoken = true
	default:
		t.give(place, f.Bytes)
	}
}

// give hands the port to the wrench that has just spoken, from the beginning of its frame on: whoever had the port
// before gets what came before. At a port that nobody had it gets everything, because nothing there is anybody else's.
func (t *tap) give(to *Place, spoken []byte) {
	l := &lease{tap: t, place: to, spoken: true}
	if t.owner == nil {
		l.pieces, t.held = t.held, pieces{}
	} else {
		mine := bytes.Clone(spoken)
		if at := bytes.LastIndex(t.recent, spoken); at >= 0 {
			mine = bytes.Clone(t.recent[at:])
		}
		l.bytes = mine
		t.owner.lose(len(mine), fmt.Errorf("wrench %s speaks at %s now: %w", to.wrench, t.node, port.ErrUnplugged))
	}
	t.owner, t.stranger = l, ""
	to.move(l)
	t.board.tell()
}

// ended closes the port at once, however far its reader is: while a dead one is held, the next plug gets another name.
func (t *tap) ended(err error) {
	b := t.board
	b.mu.Lock()
	if t.over == nil {
		t.over = err
	}
	t.moved.Broadcast()
	b.mu.Unlock()
	_ = t.port.Close() // who took it closes it again and gets the same error
	b.mu.Lock()
	defer b.mu.Unlock()
	close(t.done)
	for _, e := range t.ears {
		e.hush.Stop()
	}
	t.forget()
	b.tell()
}

// forget lets the node be opened anew.
func (t *tap) forget() {
	if t.board.taps[t.node] == t {
		delete(t.board.taps, t.node)
	}
	if errors.Is(t.over, errTurn) {
		t.board.turns[t.node]++
		t.board.listenAll()
	}
}

// takeTurn ends the tap when it is the turn of another setting.
func (t *tap) takeTurn() {
	tick := time.NewTicker(hushFor)
	defer tick.Stop()
	for {
		select {
		case <-t.done:
			return
		case now := <-tick.C:
			if t.turnOver(now) {
				_ = t.port.Close()
				return
			}
		}
	}
}

func (t *tap) turnOver(now time.Time) bool {
	t.board.mu.Lock()
	defer t.board.mu.Unlock()
	if t.owner != nil || t.settled || t.over != nil || now.Sub(t.heard) < hushFor {
		return false
	}
	misheard := t.heard.Sub(t.opened) > settling
	if !misheard && now.Sub(t.opened) < turnFor {
		return false
	}
	other := func(g []*profile.Profile) bool { return !together(g[0], t.ears[0].profile) }
	if !slices.ContainsFunc(t.board.groups(), other) {
		return false
	}
	t.over = errTurn
	return true
}
