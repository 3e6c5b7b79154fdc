package daemon

import (
	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/device/label"
)

// watcher is one reader of a bench.
type watcher struct {
	bench   string
	updates chan control.Update
}

// slack is how many updates a watcher may be behind before it is dropped.
const slack = 64

func (l *live) watch(benchID string) (<-chan control.Update, func()) {
	l.mu.Lock()
	defer l.mu.Unlock()
	w := &watcher{benchID, make(chan control.Update, slack)}
	w.updates <- control.Update{View: l.shop.View(benchID)}
	l.watchers[w] = struct{}{}
	return w.updates, func() {
		l.mu.Lock()
		defer l.mu.Unlock()
		l.drop(w)
	}
}

func (l *live) drop(w *watcher) {
	if _, there := l.watchers[w]; there {
		delete(l.watchers, w)
		close(w.updates)
	}
}

func (l *live) dropAll() {
	l.mu.Lock()
	defer l.mu.Unlock()
	for w := range l.watchers {
		l.drop(w)
	}
}

// publish hands the outcome to those who watch a bench that it concerns. Whoever has no room is dropped: a reader that
// fell behind asks anew and gets the present state.
func (l *live) publish(out audit.Outcome) {
	if len(l.watchers) == 0 {
		return
	}
	for _, at := range l.concerned(out) {
		var u *control.Update
		for w := range l.watchers {
			if w.bench != at {
				continue
			}
			if u == nil {
				u = &control.Update{View: l.shop.View(at), Kind: out.Entry.Event.Kind(), Mark: out.Marks, Scan: scanOf(out), Refused: out.Refused}
			}
			select {
			case w.updates <- *u:
			default:
				l.drop(w)
			}
		}
	}
}

// concerned are the benches that an event happened at, or whose build it opened; none for an event of the whole shop.
func (l *live) concerned(out audit.Outcome) []string {
	if _, opened := out.Entry.Event.(audit.BuildOpened); opened {
		return l.shop.Holding(out.Entry.Seq)
	}
	if c, corrected := out.Entry.Event.(audit.CorrectionMade); corrected {
		if at := l.shop.BenchOf(c.Run); at != "" {
			return []string{at}
		}
	}
	if ev, is := out.Entry.Event.(audit.BenchEvent); is && ev.AtBench() != "" {
		return []string{ev.AtBench()}
	}
	return nil
}

// scanOf is what was scanned, for people at the bench; nil: nothing was. A badge that did its work is not shown, for it
// could be copied from a screen; one that nobody has is, so that it can be given.
func scanOf(out audit.Outcome) *control.Scan {
	ev, is := out.Entry.Event.(audit.LabelScanned)
	if !is {
		return nil
	}
	s := control.Scan{Label: ev.Label, Value: ev.Value, Note: ev.Note}
	switch {
	case ev.Label == "":
		s.Value, s.Note = ev.Text, ""
	case ev.Label == label.Badge && out.Refused == "":
		s.Value = ""
	}
	return &s
}
