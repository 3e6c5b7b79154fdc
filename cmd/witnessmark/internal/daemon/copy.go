package daemon

import (
	"context"
	"io"
)

// CopyJournal implements control.BackupDesk.
func (d *Daemon) CopyJournal(ctx context.Context, w io.Writer) error {
	last, err := d.journal.Copy(ctx, w)
	if err != nil {
		d.opt.Log.Error().Err(err).Msg("the journal was not copied for a backup")
		return err
	}
	d.opt.Log.Info().Uint64("entries", last).Msg("the journal was copied for a backup")
	return nil
}
