package demo

import (
	"errors"
	"os"
	"time"

	"witnessmark/audit"
	"witnessmark/store/journal"
)

// Past is what earlier demonstrations left in a data folder.
type Past struct {
	Builds   uint64
	Counters map[string]int64 // the last count of each wrench
}

// Told reads the past from the journal; there is none where there is no journal yet. The daemon must not run.
func Told(path string) (p Past, err error) {
	p.Counters = map[string]int64{}
	if _, err := os.Stat(path); errors.Is(err, os.ErrNotExist) {
		return p, nil
	}
	j, err := journal.Open(path, time.Now)
	if err != nil {
		return p, err
	}
	defer func() { err = errors.Join(err, j.Close()) }()
	for from := uint64(1); from <= j.Last(); {
		entries, err := j.Read(from, 500)
		if err != nil {
			return p, err
		}
		for _, e := range entries {
			p.note(e.Event)
		}
		from += uint64(len(entries))
	}
	return p, nil
}

func (p *Past) note(ev audit.Event) {
	switch ev := ev.(type) {
	case audit.BuildOpened:
		p.Builds++
	case audit.ReadingTaken:
		if ev.Counter != nil {
			p.Counters[ev.Wrench] = *ev.Counter
		}
	}
}
