package paper

import (
	"context"

	"witnessmark/store"
)

// Read reads what the sheet of a build is made of; the history is of that build alone, key is one of the shop's keys.
func Read(ctx context.Context, reader *store.Reader, h *store.History, key string) (r Record, err error) {
	r = Record{Shop: reader.Shop(), Key: key, History: h}
	b := &h.Builds[0]
	if r.Declarations, err = reader.Declarations(ctx, b); err != nil {
		return r, err
	}
	if r.Signed, r.SignedAt, err = reader.SignedAfter(ctx, b); err != nil {
		return r, err
	}
	r.Key, err = reader.KeyAt(ctx, r.Signed, key)
	return r, err
}
