package finder

import (
	"time"

	"witnessmark/device/frame"
	"witnessmark/device/profile"
)

// ear listens at a tap for one profile. It is guarded by board.mu.
type ear struct {
	tap     *tap
	profile *profile.Profile
	framer  *frame.Framer
	emit    func(frame.Frame)
	gap     time.Duration // the silence that ends a frame, or helps to find the next one
	hush    *time.Timer   // ends when the line was silent for so long
}

func (t *tap) newEar(p *profile.Profile) *ear {
	e := &ear{tap: t, profile: p, framer: p.NewFramer(), gap: p.Gap()}
	if e.gap <= 0 {
		e.gap = hushFor
	}
	e.emit = func(f frame.Frame) { t.understood(p, f) }
	e.hush = time.AfterFunc(time.Hour, e.silent)
	e.hush.Stop()
	return e
}

// silent ends a frame, unless something came meanwhile.
func (e *ear) silent() {
	b := e.tap.board
	b.mu.Lock()
	defer b.mu.Unlock()
	if e.tap.over != nil || time.Since(e.tap.heard) < e.gap {
		return
	}
	e.framer.Silence(e.emit)
	if e.profile.Gap() > 0 {
		e.tap.kept().pause()
	}
}

// ask makes a wrench speak that only answers. While somebody has the port, who has it asks.
func (t *tap) ask() {
	p := t.ears[0].profile
	for _, text := range p.Start() {
		t.say(text)
	}
	for _, call := range p.Calls() {
		t.say(call.Text)
		t.board.jobs.Go(func() {
			again := time.NewTicker(call.Every)
			defer again.Stop()
			for {
				select {
				case <-t.done:
					return
				case <-again.C:
					t.say(call.Text)
				}
			}
		})
	}
}

// say passes over an error: that the port is gone shows where it is read.
func (t *tap) say(text []byte) {
	t.board.mu.Lock()
	taken := t.owner != nil
	t.board.mu.Unlock()
	if !taken {
		_, _ = t.port.Write(text)
	}
}
