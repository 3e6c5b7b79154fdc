package daemon

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// compareWithin is how long the database may take to say how far it is, where that must be known.
const compareWithin = time.Minute

// compare makes sure that a journal that was cut back has lost nothing that the database knows of: the numbers of such entries
// would be given again, to others. Nothing is journaled before, so that a crash here leaves all as it was.
func (d *Daemon) compare(ctx context.Context) error {
	file := d.journal.CutBack()
	if file == "" {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, compareWithin)
	defer cancel()
	for {
		at, moved := d.writer.look()
		var lost *beyond
		switch {
		case errors.As(at.trouble, &lost):
			return fmt.Errorf("a page of the journal %s was damaged (it lies in %s): entries %d to %d are gone from it, and the database has them: let witnessmark ledger rebuild-journal write it anew from there, and have the disk looked at",
				d.folder.Journal(), file, lost.last+1, lost.position)
		case at.known:
			d.opt.Log.Error().Str("damaged", file).Uint64("last", d.journal.Last()).Msg("a page of the journal was damaged: it was set aside, and the journal is what it was before its last write; have the disk looked at")
			return nil
		}
		select {
		case <-moved:
		case <-ctx.Done():
			return fmt.Errorf("a page of the journal %s was damaged (it lies in %s), and the database cannot be asked whether entries are gone: see to the database, then start again: %w",
				d.folder.Journal(), file, at.trouble)
		}
	}
}
