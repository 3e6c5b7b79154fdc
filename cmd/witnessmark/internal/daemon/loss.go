package daemon

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"slices"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/store"
	"witnessmark/store/ledger"
)

// AcceptLoss records that what a checkpoint outside proves and neither database nor journal lead to is lost for good, and that
// the record goes on without it. No daemon may work in the folder. A crash before the entry leaves all as it was; after it the
// next start goes on from here.
func AcceptLoss(ctx context.Context, o Options, reason, person string) (entry audit.Entry, err error) {
	who, err := named(person)
	if err != nil {
		return entry, err
	}
	if err := Folder(o.Data).Known(); err != nil {
		return entry, err
	}
	d, err := New(o)
	if err != nil {
		return entry, err
	}
	defer func() { err = errors.Join(err, d.Stop(context.WithoutCancel(ctx))) }()
	for _, step := range []func(context.Context) error{d.openFolder, d.openJournal, d.startLive, d.openKey, d.startBase} {
		if err := step(ctx); err != nil {
			return entry, err
		}
	}
	older, err := d.older(ctx)
	if err != nil {
		return entry, err
	}
	out, err := d.act(ctx, who, func(_ *bench.Shop, id string) (audit.Event, error) {
		return audit.LossAccepted{Size: older.Proven.Size, Root: older.Proven.Root[:],
			Remains: older.Remains.Size, RemainsRoot: older.Remains.Root[:], Reason: reason, Person: id}, nil
	})
	if err != nil {
		return entry, err
	}
	return out.Entry, d.writeAll(ctx)
}

// older finds out what is lost. The checkpoint that proves it goes to the other disk too, where there is one: the notes in front
// of it there are known from it to be of the ledger that was lost.
func (d *Daemon) older(ctx context.Context) (*store.Older, error) {
	newest, outside := d.newestKept()
	if newest.Size > outside {
		if err := ledger.WriteOutside(d.folder.Outside(), newest.note); err != nil {
			return nil, err
		}
	}
	if to := d.opt.Config.Witness; to != "" {
		if err := (&copier{from: d.folder.Outside(), to: to}).copy(); err != nil {
			return nil, fmt.Errorf("keep the checkpoint on the other disk as evidence: %w", err)
		}
	}
	return d.ask(ctx)
}

// ask holds database and journal against the checkpoint outside.
func (d *Daemon) ask(ctx context.Context) (_ *store.Older, err error) {
	ctx, cancel := context.WithTimeout(ctx, askWithin)
	defer cancel()
	url, err := d.base.address(ctx)
	if err != nil {
		return nil, err
	}
	st, err := store.Open(ctx, d.storeOptions(url))
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, st.Close()) }()
	if last := d.journal.Last(); st.Position() > last {
		return nil, &beyond{st.Position(), last}
	}
	var older *store.Older
	switch err := st.Prove(d.replay(st.Position())); {
	case errors.As(err, &older):
		return older, nil
	case err != nil:
		return nil, err
	}
	return nil, control.Refuse("nothing is lost that a checkpoint outside proves: start the daemon, which brings in what the journal has")
}

// writeAll brings the journal into the database.
func (d *Daemon) writeAll(ctx context.Context) error {
	if err := d.meetKept(ctx); err != nil {
		return err
	}
	if err := d.startWriter(ctx); err != nil {
		return err
	}
	for {
		at, moved := d.writer.look()
		if at.position >= d.journal.Last() {
			return nil
		}
		if at.trouble != nil && !errors.Is(at.trouble, errNotYet) {
			return fmt.Errorf("the loss is journaled and not in the database yet, the daemon writes it when it is started: %w", at.trouble)
		}
		select {
		case <-moved:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// accepted is true of a checkpoint whose ledger was accepted to be lost.
func (d *Daemon) accepted(signed []byte) (yes bool) {
	c, err := ledger.ParseCheckpoint(string(signed))
	if err != nil {
		return false
	}
	d.live.look(func(s *bench.Shop) {
		yes = slices.ContainsFunc(s.Losses(), func(l audit.LossAccepted) bool { return l.Size == c.Size && bytes.Equal(l.Root, c.Root[:]) })
	})
	return yes
}

// setLossAside keeps the checkpoint of a ledger that was accepted to be lost under a name of its own.
func (d *Daemon) setLossAside() error {
	file := d.folder.Outside()
	signed, err := ledger.ReadOutside(file)
	if err != nil || signed == nil || !d.accepted(signed) {
		return err
	}
	c, err := ledger.ParseCheckpoint(string(signed))
	if err != nil {
		return err
	}
	if err := os.Rename(file, d.folder.Lost(c.Size)); err != nil {
		return fmt.Errorf("set the checkpoint of what was lost aside: %w", err)
	}
	return nil
}
