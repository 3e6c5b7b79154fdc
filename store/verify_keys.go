package store

import (
	"context"
	"fmt"
	"slices"

	"github.com/jackc/pgx/v5"
	"golang.org/x/mod/sumdb/note"

	"witnessmark/audit"
	"witnessmark/store/ledger"
)

// KeySpan says which key signed from which checkpoint on.
type KeySpan struct {
	Key  string // verifier's text
	From int64  // size of the first checkpoint that it signed
}

// keyChain is the keys of a ledger in the order in which they came into force. Each change is signed by the key before it
// and by the new one, so that whoever trusts one of the keys can trust the others.
type keyChain struct {
	texts     []string
	verifiers []note.Verifier
	current   int // signs at present
	changed   int // the newest one whose entry was met
	spans     []KeySpan
}

func readKeys(ctx context.Context, tx pgx.Tx, shop, trusted string) (c keyChain, err error) {
	rows, err := tx.Query(ctx, `SELECT old_key, new_key FROM witnessmark.key_change WHERE shop = $1 AND refused = '' ORDER BY ledger_index`, shop)
	if err != nil {
		return c, fmt.Errorf("read changes of the key: %w", err)
	}
	changes, err := pgx.CollectRows(rows, pgx.RowToStructByPos[struct{ Old, New string }])
	if err != nil {
		return c, fmt.Errorf("read changes of the key: %w", err)
	}
	c.texts = []string{trusted}
	for i, change := range changes {
		if i == 0 {
			c.texts[0] = change.Old
		}
		c.texts = append(c.texts, change.New)
	}
	if !slices.Contains(c.texts, trusted) {
		return c, &Mismatch{-1, "key_change", 0, "none of the keys there is the one that was given"}
	}
	for _, text := range c.texts {
		v, err := note.NewVerifier(text)
		if err != nil {
			return c, fmt.Errorf("read public key %q: %w", text, err)
		}
		c.verifiers = append(c.verifiers, v)
	}
	return c, nil
}

// change takes in the next change; false: it is not the one that is due.
func (c *keyChain) change(ev *audit.KeyChanged) bool {
	if c.changed+1 >= len(c.texts) || ev.OldKey != c.texts[c.changed] || ev.NewKey != c.texts[c.changed+1] {
		return false
	}
	c.changed++
	return true
}

// open reads a checkpoint of the database, which the key in force must have signed, and every one that it was changed to
// since the checkpoint before.
func (c *keyChain) open(signed []byte, size int64) (at ledger.Checkpoint, err error) {
	for i := c.current; i <= c.changed; i++ {
		if at, err = ledger.Open(signed, c.verifiers[i]); err != nil {
			return at, err
		}
		if i > c.current || len(c.spans) == 0 {
			c.spans = append(c.spans, KeySpan{c.texts[i], size})
		}
	}
	c.current = c.changed
	return at, nil
}
