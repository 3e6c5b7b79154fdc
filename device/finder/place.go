package finder

import (
	"context"
	"fmt"
	"io/fs"
	"os"
	"time"

	"witnessmark/device/port"
	"witnessmark/device/profile"
)

// fresh is how old a list of what is plugged in may be when a wrench begins to be looked for.
const fresh = 100 * time.Millisecond

// Place is a wrench that is looked for at a Board. It is a port.Place.
type Place struct {
	board   *Board
	wrench  string // its id, for people
	rule    Rule
	profile *profile.Profile
	said    string // why it was not found, when Open said so last; of the goroutine that opens

	// Guarded by board.mu.
	opened bool   // somebody looks for it, or has found it
	lease  *lease // where it is; nil: not known, or given back
	found  string // the rule by which it was found, for people
}

// Open gives the port at which the wrench is found. Its error says what was looked for and what is plugged in instead.
// While that stays as it was when Open said so last, Open waits: for another plug, for the wrench to speak, or for ctx.
func (p *Place) Open(ctx context.Context) (port.Port, error) {
	b := p.board
	b.start.Do(b.begin)
	b.wait(p)
	defer b.waited()
	for {
		found, news, err := p.try(ctx)
		switch {
		case found != nil:
			p.said = ""
			return found, nil
		case news == nil || err.Error() != p.said:
			p.said = err.Error()
			return nil, err
		}
		select {
		case <-news:
		case <-ctx.Done():
			return nil, fmt.Errorf("look for wrench %s: %w", p.wrench, ctx.Err())
		}
	}
}

// wait lists what is plugged in unless that is known.
func (b *Board) wait(p *Place) {
	b.mu.Lock()
	b.waits++
	p.opened = true
	known := time.Since(b.looked) < fresh
	if known {
		b.listenAll()
	}
	b.mu.Unlock()
	if !known {
		b.look()
	}
}

func (b *Board) waited() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.waits--
}

// try gives a port, or why there is none and, where it makes no sense to try again before, a channel that is closed at
// the next news.
func (p *Place) try(ctx context.Context) (port.Port, <-chan struct{}, error) {
	b := p.board
	b.mu.Lock()
	if p.lease != nil { // it has spoken
		defer b.mu.Unlock()
		p.lease.taken = true
		return p.lease, nil, nil
	}
	l, err := p.claim()
	news := b.news
	b.mu.Unlock()
	if err != nil {
		return nil, news, err
	}
	if err := l.begin(ctx); err != nil {
		return nil, nil, err
	}
	return l, nil, nil
}

// begin opens the port of a lease, unless it is open.
func (l *lease) begin(ctx context.Context) error {
	l.tap.board.mu.Lock()
	open := l.tap.port != nil
	l.tap.board.mu.Unlock()
	if open {
		return nil
	}
	err := l.tap.begin(ctx)
	if err != nil {
		l.tap.fail(err)
		l.tap.board.mu.Lock()
		defer l.tap.board.mu.Unlock()
		if l.place.lease == l {
			l.place.lease = nil
		}
	}
	return err
}

// node is where the wrench is by what is plugged in.
func (p *Place) node() (node, by string, err error) {
	b := p.board
	best, twin, rank := b.choose(p)
	switch {
	case twin >= 0:
		return "", "", fmt.Errorf("wrench %s could be at %s or at %s, which are alike %s: say in the configuration by usb-socket which of them is its own",
			p.wrench, b.plugs[best].Node, b.plugs[twin].Node, p.rule.matched(rank))
	case best >= 0:
		return b.plugs[best].Node, p.rule.matched(rank), nil
	}
	// A device that is no serial port of the kernel's can only be known by its name.
	if fi, err := os.Stat(p.rule.Node); p.rule.Node != "" && err == nil && fi.Mode()&fs.ModeCharDevice != 0 && port.Leads(p.rule.Node, b.plugs) < 0 {
		return p.rule.Node, p.rule.matched(byNode), nil
	}
	return "", "", p.missing()
}

// claim takes the node where the wrench is by what is plugged in: as a tap that is to begin, or, where somebody listens
// there already with the same settings, as that one and what it holds.
func (p *Place) claim() (*lease, error) {
	node, by, err := p.node()
	if err != nil {
		return nil, err
	}
	t := p.board.taps[node]
	switch {
	case t == nil:
		t = p.board.newTap(node, []*profile.Profile{p.profile})
	case t.owner != nil && !t.owner.closed && t.over == nil:
		return nil, fmt.Errorf("%s is where wrench %s speaks: say in the configuration where wrench %s is", node, t.owner.place.wrench, p.wrench)
	case t.owner != nil || t.over != nil || t.port == nil:
		return nil, fmt.Errorf("%s is being opened or closed just now", node)
	case !together(t.ears[0].profile, p.profile):
		t.release()
		return nil, fmt.Errorf("%s is being closed, to be opened with the settings of wrench %s", node, p.wrench)
	}
	t.join([][]*profile.Profile{{p.profile}})
	l := &lease{tap: t, place: p, taken: true, pieces: t.held}
	t.owner, t.held, p.lease, p.found = l, pieces{}, l, by
	return l, nil
}

// release closes a port that is listened at with other settings. The pump sees it and clears up.
func (t *tap) release() {
	t.over = errTurn
	t.board.jobs.Go(func() { _ = t.port.Close() })
}

// sought says that the wrench may speak anywhere: nobody knows where it is, or only by a plug that could be another's.
func (p *Place) sought() bool {
	return p.opened && p.rule.Speaks != "" && (p.lease == nil || !p.lease.spoken)
}

// move brings the wrench to where it has just spoken. What it said elsewhere and nobody has read comes along.
func (p *Place) move(to *lease) {
	if old := p.lease; old != nil {
		if !old.taken {
			old.add(to.pieces)
			to.pieces, old.pieces = old.pieces, pieces{}
		}
		old.lose(0, fmt.Errorf("wrench %s speaks at %s now: %w", p.wrench, to.tap.node, port.ErrUnplugged))
		old.tap.owner = nil
	}
	p.lease = to
}

// Where says by which rule the wrench was found and where it is; empty while it is not.
func (p *Place) Where() string {
	p.board.mu.Lock()
	defer p.board.mu.Unlock()
	switch {
	case p.lease == nil || !p.lease.taken:
		return ""
	case p.lease.spoken:
		return "by the serial number it speaks, at " + p.lease.tap.node
	}
	return p.found + ", at " + p.lease.tap.node
}

// Close gives up looking. A port that was handed out stays open; one that was not is given back.
func (p *Place) Close() error {
	p.board.mu.Lock()
	p.opened = false
	l := p.lease
	p.board.mu.Unlock()
	if l != nil && !l.taken {
		return l.Close()
	}
	return nil
}
