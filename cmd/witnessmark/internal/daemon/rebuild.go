package daemon

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/store"
	"witnessmark/store/journal"
)

// RebuildJournal writes a journal that is lost, or was put back to an older state, anew from the database, which it verifies
// first. No daemon may work in the folder. A journal that is there stays under another name. A crash before the end leaves no
// journal: then it is made again.
func RebuildJournal(ctx context.Context, o Options) (entries uint64, err error) {
	if err := Folder(o.Data).Known(); err != nil {
		return 0, err
	}
	d, err := New(o)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, d.Stop(context.WithoutCancel(ctx))) }()
	for _, step := range []func(context.Context) error{d.openFolder, d.openKey, d.startBase} {
		if err := step(ctx); err != nil {
			return 0, err
		}
	}
	within, cancel := context.WithTimeout(ctx, askWithin)
	defer cancel()
	url, err := d.base.address(within)
	if err != nil {
		return 0, err
	}
	if err := store.Migrate(ctx, url); err != nil { // an older program may have written it last
		return 0, err
	}
	r, err := store.OpenReader(ctx, url, d.opt.Config.Shop.ID)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, r.Close()) }()
	if _, err := r.Verify(ctx, d.key.Public, nil, nil); err != nil {
		return 0, err
	}
	position, err := r.Position(ctx)
	if err != nil {
		return 0, err
	}
	if err := d.setJournalAside(position); err != nil {
		return 0, err
	}
	return position, journal.Write(d.folder.Journal(), position, func(put func(audit.Entry) error) error {
		return r.Entries(ctx, func(e audit.Entry) error { return put(withName(e)) })
	})
}

// withName gives a person whose name was blanked the id for a name: a person without one cannot be added. The ledger holds no
// name, and a later entry blanks this one too.
func withName(e audit.Entry) audit.Entry {
	if p, is := e.Event.(audit.PersonAdded); is && p.Name == "" {
		p.Name = p.Person
		e.Event = p
	}
	return e
}

// setJournalAside renames a journal that holds less than the database.
func (d *Daemon) setJournalAside(position uint64) error {
	file := d.folder.Journal()
	if _, err := os.Stat(file); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	j, err := journal.Open(file, d.opt.Clock)
	if err != nil {
		return fmt.Errorf("the journal that is there cannot be read: keep it, move it away, and repeat: %w", err)
	}
	last := j.Last()
	if err := j.Close(); err != nil {
		return err
	}
	if last >= position {
		return control.Refuse(fmt.Sprintf("the journal holds %d entries and the database %d, so nothing of it is lost: start the daemon", last, position))
	}
	return os.Rename(file, fmt.Sprintf("%s.until-%d-%d", file, last, d.opt.Clock().Unix()))
}
