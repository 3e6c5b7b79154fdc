package daemon

import (
	"bytes"
	"context"
	"time"

	"github.com/rs/zerolog"

	"witnessmark/store/ledger"
)

// copyEvery is how often the newest checkpoint is copied to the other disk, where there is a newer one.
const copyEvery = time.Minute

// copier keeps checkpoints in a plain file on another disk, which is only ever added to. A crash leaves out those of the
// last minute; the next start copies the newest one.
type copier struct {
	from, to string
	log      zerolog.Logger
	last     []byte // that was copied
}

// run copies until ctx ends, and once more then.
func (c *copier) run(ctx context.Context) {
	t := time.NewTicker(copyEvery)
	defer t.Stop()
	for {
		if err := c.copy(); err != nil {
			c.log.Error().Err(err).Str("witness", c.to).Msg("the checkpoint was not copied to the other disk; readings are recorded all the same, and witnessmark doctor says what to do")
		}
		if ctx.Err() != nil {
			return
		}
		select {
		case <-t.C:
		case <-ctx.Done():
		}
	}
}

func (c *copier) copy() error {
	newest, err := ledger.ReadOutside(c.from)
	if err != nil || newest == nil {
		return err
	}
	if c.last == nil {
		notes, _, err := ledger.ReadNotes(c.to)
		if err != nil {
			return err
		}
		if n := len(notes); n > 0 {
			c.last = notes[n-1].Note
		}
	}
	if bytes.Equal(bytes.TrimSpace(newest), bytes.TrimSpace(c.last)) {
		return nil
	}
	if err := ledger.AppendNote(c.to, newest); err != nil {
		return err
	}
	c.last = newest
	return nil
}
