package control

import (
	"context"
	"net/http"
)

// NewKey asks to sign the ledger with a new key from now on.
type NewKey struct {
	Reason string `json:"reason"`
	Person string `json:"person"`
}

// KeyChange is a change of the key. Both are verifier's texts.
type KeyChange struct {
	Old string `json:"old"`
	New string `json:"new"`
}

// LedgerDesk is the part of a Desk that looks after the ledger.
type LedgerDesk interface {
	ChangeKey(context.Context, NewKey) (KeyChange, error)
}

func routeLedger(mux routes, d LedgerDesk) {
	mux.HandleFunc("POST /api/v1/ledger/key", func(w http.ResponseWriter, r *http.Request) {
		act(w, r, maxBody, func(in NewKey) (any, error) { return d.ChangeKey(r.Context(), in) })
	})
}

// ChangeKey changes the key that signs the ledger.
func (c *Client) ChangeKey(ctx context.Context, in NewKey) (k KeyChange, err error) {
	return k, c.call(ctx, http.MethodPost, "ledger/key", in, &k)
}
