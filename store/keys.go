package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"golang.org/x/mod/sumdb/note"

	"witnessmark/audit"
	"witnessmark/store/ledger"
)

// keyAt is the verifier's text of the key that signs a ledger of a size; known is the key of a ledger that never changed it.
func keyAt(ctx context.Context, q rowQuerier, shop string, size int64, known string) (key string, err error) {
	err = q.QueryRow(ctx, `SELECT coalesce(
		(SELECT new_key FROM witnessmark.key_change WHERE shop = $1 AND refused = '' AND ledger_index < $2 ORDER BY ledger_index DESC LIMIT 1),
		(SELECT old_key FROM witnessmark.key_change WHERE shop = $1 AND refused = '' ORDER BY ledger_index LIMIT 1), $3)`,
		shop, size, known).Scan(&key)
	if err != nil {
		return "", fmt.Errorf("read which key signs: %w", err)
	}
	return key, nil
}

// rowQuerier is a connection or a transaction.
type rowQuerier interface {
	QueryRow(ctx context.Context, sql string, args ...any) pgx.Row
}

// signing is the key in force at a size, with its private half as far as that is there.
func (s *Store) signing(ctx context.Context, size int64) (*ledger.Key, error) {
	public, err := keyAt(ctx, s.conn, s.opt.Shop, size, s.opt.Key.Public)
	if err != nil {
		return nil, err
	}
	return s.opt.Key.Find(public)
}

// changeKey notes the key that an entry changes to.
func (s *Store) changeKey(p *page, o audit.Outcome) error {
	ev, is := o.Entry.Event.(audit.KeyChanged)
	if !is || o.Refused != "" {
		return nil
	}
	key, err := s.opt.Key.Find(ev.NewKey)
	if err != nil {
		return err
	}
	p.keys = append(p.keys, key)
	return nil
}

// sign signs with the key in force and with every one that the page changes to: each key vouches for the next.
func (s *Store) sign(c ledger.Checkpoint, later []*ledger.Key) ([]byte, error) {
	var signers []note.Signer
	for _, k := range append([]*ledger.Key{s.key}, later...) {
		if k.Signer == nil {
			return nil, fmt.Errorf("the private half of the key %s is needed to sign what it signed before: put it back from where it is kept", k.Public)
		}
		signers = append(signers, k.Signer)
	}
	return c.Sign(signers...)
}

// verifiers are the keys that may have signed what lies outside the database.
func (s *Store) verifiers() ([]note.Verifier, error) {
	later, err := s.opt.Key.Later()
	if err != nil {
		return nil, err
	}
	out := []note.Verifier{s.opt.Key.Verifier}
	for _, k := range later {
		out = append(out, k.Verifier)
	}
	return out, nil
}

// KeyAt is the verifier's text of the key that signs a checkpoint of this shop; known is one of its keys.
func (r *Reader) KeyAt(ctx context.Context, signed []byte, known string) (string, error) {
	c, err := ledger.ParseCheckpoint(string(signed))
	if err != nil {
		return "", err
	}
	return keyAt(ctx, r.conn, r.shop, c.Size, known)
}

// KeyChange is a change of the key that signs.
type KeyChange struct {
	At     time.Time
	Person string // name; empty: blanked
	audit.KeyChanged
}

// KeyChanges lists the changes of the key, the oldest first.
func (r *Reader) KeyChanges(ctx context.Context) ([]KeyChange, error) {
	k := emptyRow(audit.KeyChanged{}.Kind())
	rows, err := r.conn.Query(ctx, "SELECT "+qualified("k", k.columns())+`, coalesce(p.name, '') FROM witnessmark.key_change k
		LEFT JOIN witnessmark.person p ON p.shop = k.shop AND p.person = k.person AND p.refused = ''
		WHERE k.shop = $1 AND k.refused = '' ORDER BY k.ledger_index`, r.shop)
	if err != nil {
		return nil, fmt.Errorf("read changes of the key: %w", err)
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (KeyChange, error) {
		k, name := emptyRow(k.kind), ""
		err := row.Scan(append(k.targets(), &name)...)
		return KeyChange{k.At, name, k.record.Interface().(audit.KeyChanged)}, err
	})
}
