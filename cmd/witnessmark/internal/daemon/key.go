package daemon

import (
	"context"
	"strings"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
)

// ChangeKey implements control.LedgerDesk. A crash before the entry leaves a key that signs nothing and is taken by the next
// change; a crash after it leaves both keys on the disk, and the commit of the entry is the moment from which the new one
// signs.
func (d *Daemon) ChangeKey(ctx context.Context, in control.NewKey) (control.KeyChange, error) {
	who, err := named(in.Person)
	if err != nil {
		return control.KeyChange{}, err
	}
	if strings.TrimSpace(in.Reason) == "" {
		return control.KeyChange{}, control.Malformed("say why the key is changed: give a reason with --reason")
	}
	d.acting.Lock()
	defer d.acting.Unlock()
	signing := d.key.Public
	d.live.look(func(s *bench.Shop) {
		if k := s.SigningKey(); k != "" {
			signing = k
		}
	})
	next, err := d.key.Next(signing)
	if err != nil {
		return control.KeyChange{}, err
	}
	_, err = d.do(ctx, who, func(_ *bench.Shop, id string) (audit.Event, error) {
		return audit.KeyChanged{OldKey: signing, NewKey: next.Public, Reason: in.Reason, Person: id}, nil
	})
	return control.KeyChange{Old: signing, New: next.Public}, err
}
