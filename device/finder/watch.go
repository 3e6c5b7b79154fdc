package finder

import (
	"path/filepath"
	"time"

	"github.com/fsnotify/fsnotify"
)

const (
	lookEvery = 2 * time.Second
	// restFor lets udev finish with a device that just appeared: its links come after the node.
	restFor = 50 * time.Millisecond
)

// begin starts the watching: what comes after it is noticed.
func (b *Board) begin() {
	changes, stop := b.changes()
	changes()
	b.jobs.Go(func() {
		defer stop()
		b.watch(changes)
	})
}

// watch looks whenever something changes under /dev, and every so often, as long as somebody waits. A system that
// watches no folders for us costs no more than the time between two looks.
func (b *Board) watch(changes func() <-chan fsnotify.Event) {
	tick := time.NewTicker(b.every)
	defer tick.Stop()
	var rest <-chan time.Time
	for {
		select {
		case <-b.life.Done():
			return
		case <-changes():
			if rest == nil {
				rest = time.After(restFor)
			}
			continue
		case <-rest:
			rest = nil
		case <-tick.C:
		}
		if b.awaited() {
			b.look()
		}
	}
}

// awaited says that it makes a difference what is plugged in.
func (b *Board) awaited() bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.waits > 0 || len(b.groups()) > 0
}

// changes gives the news about the folders of /dev in which devices appear. udev makes and removes the folders of the
// stable names as it needs them, so each call tries them again.
func (b *Board) changes() (next func() <-chan fsnotify.Event, stop func()) {
	w, err := fsnotify.NewWatcher()
	if err != nil {
		return func() <-chan fsnotify.Event { return nil }, func() {}
	}
	dev := filepath.Join("/", b.root, "dev")
	return func() <-chan fsnotify.Event {
		for _, folder := range []string{"", "serial", "serial/by-id", "serial/by-path"} {
			_ = w.Add(filepath.Join(dev, folder)) // one that is not there is found by the next look
		}
		return w.Events
	}, func() { _ = w.Close() }
}
