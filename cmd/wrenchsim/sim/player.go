package sim

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// Player plays a script step by step, so that its caller can look at the bench between two of them.
// It is for one goroutine.
type Player struct {
	script   *Script
	floor    *Floor
	wrenches map[string]*Wrench
	pause    func(context.Context, time.Duration) error
	next     int
	late     map[string][]func(context.Context) error // readings of a wrench that is unplugged, oldest first
}

// NewPlayer plays the script on these wrenches, by the ids of the script; it neither plugs them in first nor puts them
// away. pause waits for the pace and the pauses of the script; nil: it does not wait.
func NewPlayer(s *Script, wrenches map[string]*Wrench, pause func(context.Context, time.Duration) error) (*Player, error) {
	for _, t := range s.Wrenches {
		if wrenches[t.ID] == nil {
			return nil, fmt.Errorf("play the script: it uses wrench %q, which is not there", t.ID)
		}
	}
	if pause == nil {
		pause = func(context.Context, time.Duration) error { return nil }
	}
	return &Player{script: s, floor: NewFloor(s.Seed, s.Hand, s.Bolts), wrenches: wrenches, pause: pause,
		late: map[string][]func(context.Context) error{}}, nil
}

// Next is the step that Do will do; false at the end of the script.
func (p *Player) Next() (Step, bool) {
	if p.next >= len(p.script.Steps) {
		return Step{}, false
	}
	return p.script.Steps[p.next], true
}

// Do does the next step and, where it pulls, tells the truth about it; nil for the other acts. A pull of a wrench that
// is plugged in is over when the reading is acknowledged; of one that is not, when it is plugged in again.
// After an error the step counts as done.
func (p *Player) Do(ctx context.Context) (*Truth, error) {
	s, ok := p.Next()
	if !ok {
		return nil, errors.New("play the script: it is at its end")
	}
	p.next++
	var truth *Truth
	var err error
	if s.Pulls() {
		truth, err = p.pull(ctx, s)
	} else {
		err = p.act(ctx, s)
	}
	if err != nil {
		return nil, fmt.Errorf("play step %d (line %d of the script): %w", p.next, s.Line, err)
	}
	return truth, nil
}

func (p *Player) act(ctx context.Context, s Step) error {
	w := p.wrenches[s.Wrench]
	if w == nil && s.Act != Pause {
		return fmt.Errorf("%s: no wrench %q is there", s.Act, s.Wrench)
	}
	switch s.Act {
	case Pause:
		return p.pause(ctx, s.For)
	case Noise:
		return w.Noise(s.Noise)
	case Repeat:
		w.Repeat()
	case Unplug:
		w.Unplug()
	case Plug:
		return p.plug(ctx, s.Wrench)
	default:
		return fmt.Errorf("unknown act %q", s.Act)
	}
	return nil
}

// plug plugs the wrench in and waits until its memory has been taken.
func (p *Player) plug(ctx context.Context, id string) error {
	if err := p.wrenches[id].Plug(ctx); err != nil {
		return err
	}
	late := p.late[id]
	delete(p.late, id)
	for _, wait := range late {
		if err := wait(ctx); err != nil {
			return err
		}
	}
	return nil
}

func (p *Player) pull(ctx context.Context, s Step) (*Truth, error) {
	w := p.wrenches[s.Wrench]
	if w == nil {
		return nil, fmt.Errorf("pull: no wrench %q is there", s.Wrench)
	}
	if err := p.pause(ctx, p.script.Pace); err != nil {
		return nil, err
	}
	pull, truth, err := p.floor.Pull(s, w.o.Meter.Gauge)
	if err != nil {
		return nil, err
	}
	if truth.Reading, err = w.Take(pull, s.Tag); err != nil {
		return nil, err
	}
	if s.Spoil != nil {
		w.Spoil(*s.Spoil)
	}
	wait, err := w.Put(truth.Reading)
	if err != nil {
		return nil, err
	}
	if !w.Plugged() {
		p.late[s.Wrench] = append(p.late[s.Wrench], wait)
		return &truth, nil
	}
	return &truth, wait(ctx)
}
