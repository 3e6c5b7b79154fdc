// Package finder finds a wrench again that comes back at another socket or under another node name: by the serial
// number that it speaks itself, the USB serial number of its adapter, the socket, or the name of the node.
//
//	speaks                       ─→ free ports are listened at ─→ "#12;45.2;Nm;…;TW-7*51" ─→ this one is that of TW-7
//	usb-serial, usb-socket, node ─→ /sys and /dev/serial       ─→ this one is that of TW-7
//
// A Board is the sockets of one computer; a Place is a wrench that is looked for there, and is opened like any other
// port.Place. What is plugged in is looked at again whenever /dev changes, and every two seconds.
//
// What a crash leaves: nothing. Bytes that were heard at a port and not yet read by the wrench's link are lost like
// those in the kernel's own buffer; none of them was acknowledged, so a wrench with a memory sends them again.
package finder

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"sync"
	"time"

	"witnessmark/device/modbus"
	"witnessmark/device/port"
	"witnessmark/device/profile"
)

// Board is the serial ports of one computer and the wrenches that are looked for at them. Its methods may be called
// from any goroutine.
type Board struct {
	// Heard is told of every wrench that says a serial number which no wrench of the configuration has, once a plugging
	// in. It must return at once and call nothing of the board. It is set before the first Place is opened; nil: nobody
	// is told.
	Heard func(Stranger)

	open  func(ctx context.Context, node string, p *profile.Profile) (port.Port, error)
	root  string
	every time.Duration // how often what is plugged in is looked at
	start sync.Once
	life  context.Context // ends with Close
	end   context.CancelFunc
	jobs  sync.WaitGroup // the watcher, and whatever reads a port

	mu      sync.Mutex // guards what follows, and all that taps and leases hold
	places  []*Place
	kept    []string // the ports of other devices of the configuration
	plugs   []port.Plug
	listing error     // why there are none
	looked  time.Time // when they were listed
	taps    map[string]*tap
	turns   map[string]int   // how often a node was listened at and nothing was understood
	trouble map[string]error // why a node cannot be listened at
	waits   int              // how many places wait for their wrench
	news    chan struct{}    // closed and made anew when something changed
}

// NewBoard makes a board of the computer whose /sys and /dev lie under root (empty: /). Nothing happens before the
// first Place is opened.
func NewBoard(root string) *Board {
	b := &Board{root: root, every: lookEvery, open: openNode, taps: map[string]*tap{}, turns: map[string]int{},
		trouble: map[string]error{}, news: make(chan struct{})}
	b.life, b.end = context.WithCancel(context.Background())
	return b
}

// openNode opens a serial port as the profile needs it: a wrench that keeps its readings in registers is asked for them.
func openNode(ctx context.Context, node string, p *profile.Profile) (port.Port, error) {
	if p.Registers() == nil {
		return port.OpenSerial(ctx, node, port.Mode(p.Mode()))
	}
	place, err := modbus.At(node, p)
	if err != nil {
		return nil, err
	}
	opened, err := place.Open(ctx)
	return opened, errors.Join(err, place.Close())
}

// Keep says that a port belongs to something that is not looked for here: it is never listened at. A spec that is no
// path is passed over.
func (b *Board) Keep(spec string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.kept = append(b.kept, spec)
}

// Place is where the wrench with this id is, wherever that is. All places must be made before the first one is
// opened: what a wrench may take depends on what the others want.
func (b *Board) Place(wrench string, r Rule, p *profile.Profile) *Place {
	b.mu.Lock()
	defer b.mu.Unlock()
	place := &Place{board: b, wrench: wrench, rule: r, profile: p}
	b.places = append(b.places, place)
	return place
}

// Close gives all ports back, and returns when nothing of the board runs any more. No place may be opened then or later.
// A port that the system does not let go of is reported and left behind.
func (b *Board) Close() error {
	b.end()
	b.mu.Lock()
	var open []port.Port
	for _, t := range b.taps {
		if t.port != nil {
			open = append(open, t.port)
		}
		t.moved.Broadcast()
	}
	b.mu.Unlock()
	var errs []error
	for _, p := range open {
		errs = append(errs, p.Close())
	}
	err := errors.Join(errs...)
	if err == nil {
		b.jobs.Wait()
	}
	return err
}

// look lists what is plugged in, and listens at what is free while a wrench is looked for by what it speaks.
func (b *Board) look() {
	plugs, err := port.Plugs(b.root)
	b.mu.Lock()
	defer b.mu.Unlock()
	b.plugs, b.listing, b.looked = plugs, err, time.Now()
	for node := range b.trouble {
		if !slices.ContainsFunc(plugs, func(p port.Plug) bool { return p.Node == node }) {
			delete(b.trouble, node)
		}
	}
	b.listenAll()
	b.tell() // even if all is as it was: a name that leads out of /dev may have come
}

// tell wakes everybody who waits for news.
func (b *Board) tell() {
	close(b.news)
	b.news = make(chan struct{})
}

// listenAll opens the free ports for the wrenches that are looked for by what they speak.
func (b *Board) listenAll() {
	groups := b.groups()
	if len(groups) == 0 || b.life.Err() != nil {
		return
	}
	for i, p := range b.plugs {
		switch t := b.taps[p.Node]; {
		case t == nil && b.free(i):
			b.listen(p.Node, groups[b.turns[p.Node]%len(groups)])
		case t != nil:
			t.join(groups)
		}
	}
}

// free says that nobody of the configuration claims a plug: it may be listened at for wrenches that say who they are.
// Where the system itself writes, nobody listens.
func (b *Board) free(i int) bool {
	if b.plugs[i].Console {
		return false
	}
	for _, spec := range b.kept {
		if port.Leads(spec, b.plugs) == i {
			return false
		}
	}
	return !slices.ContainsFunc(b.places, func(p *Place) bool { return p.rule.rank(i, b.plugs) > 0 })
}

// choose gives the plug that fits a place best among those that fit no other place as well; -1 for none. twin is
// another one that fits equally; -1 for none.
func (b *Board) choose(p *Place) (best, twin, rank int) {
	best, twin = -1, -1
	for i := range b.plugs {
		switch r := p.rule.rank(i, b.plugs); {
		case r == 0 || r < rank || b.wanted(i, p, r):
		case r == rank:
			twin = i
		default:
			best, twin, rank = i, -1, r
		}
	}
	return best, twin, rank
}

// wanted says that another place has at least as good a claim to a plug.
func (b *Board) wanted(i int, by *Place, rank int) bool {
	return slices.ContainsFunc(b.places, func(p *Place) bool { return p != by && p.rule.rank(i, b.plugs) >= rank })
}

// groups are the profiles of the wrenches that are looked for by what they speak, those together that can be listened
// for at the same time.
func (b *Board) groups() [][]*profile.Profile {
	var all [][]*profile.Profile
	for _, p := range b.places {
		if !p.sought() {
			continue
		}
		i := slices.IndexFunc(all, func(g []*profile.Profile) bool { return together(g[0], p.profile) })
		switch {
		case i < 0:
			all = append(all, []*profile.Profile{p.profile})
		case !slices.ContainsFunc(all[i], func(o *profile.Profile) bool { return same(o, p.profile) }):
			all[i] = append(all[i], p.profile)
		}
	}
	return all
}

// together says that two profiles can be listened for at the same time: the line is set alike for both, and what one
// wrench must be asked is no word to the other.
func together(a, b *profile.Profile) bool {
	return a.Mode() == b.Mode() && (same(a, b) || !asked(a) && !asked(b))
}

// asked says that the wrench does not speak unless it is spoken to.
func asked(p *profile.Profile) bool {
	return len(p.Start()) > 0 || len(p.Calls()) > 0 || p.Registers() != nil
}

// same: each wrench of a configuration has its profile read anew.
func same(a, b *profile.Profile) bool { return a.Name == b.Name && a.Version == b.Version }

// speaker is the place of the wrench that says this serial number by this profile; nil: none of the configuration.
func (b *Board) speaker(serial string, p *profile.Profile) *Place {
	for _, place := range b.places {
		if serial != "" && place.rule.Speaks == serial && same(place.profile, p) {
			return place
		}
	}
	return nil
}

// Stranger is a wrench that says a serial number which no wrench of the configuration has.
type Stranger struct {
	Node   string `json:"node"`
	Serial string `json:"serial"`
}

// Strangers lists them in the order of their nodes.
func (b *Board) Strangers() []Stranger {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.strangers()
}

func (b *Board) strangers() (all []Stranger) {
	for _, t := range b.taps {
		if t.owner == nil && t.stranger != "" {
			all = append(all, Stranger{t.node, t.stranger})
		}
	}
	slices.SortFunc(all, func(x, y Stranger) int { return cmp.Compare(x.Node, y.Node) })
	return all
}
