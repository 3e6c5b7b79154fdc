package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"time"

	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/store"
)

// readWithin is how long a page may read the record, and packWithin a bundle, which needs every leaf hash of the ledger.
const (
	readWithin = 30 * time.Second
	packWithin = 5 * time.Minute
)

// read reads the record for a page. away is a sentence where that cannot be done now; err is a fault of ours.
func (p *Pages) read(r *http.Request, f func(context.Context, *store.Reader) error) (away string, err error) {
	return p.readFor(r, readWithin, f)
}

func (p *Pages) readFor(r *http.Request, within time.Duration, f func(context.Context, *store.Reader) error) (away string, err error) {
	ctx, cancel := context.WithTimeout(r.Context(), within)
	defer cancel()
	err = p.Shop.Read(ctx, func(reader *store.Reader) error { return f(ctx, reader) })
	var refusal *control.Error
	switch {
	case err == nil:
		return "", nil
	case errors.Is(err, store.ErrNotRecorded):
		return p.say(r, "refusal.this-build-is-not-in-the-database-yet"), nil
	case errors.As(err, &refusal):
		return p.sentence(r, refusal.Sentence), nil
	case errors.Is(err, context.DeadlineExceeded):
		return p.say(r, "refusal.the-database-took-too-long-to-answer-try"), nil
	}
	return "", err
}

// buildOf finds the build that a request names, and what stands between it and its release.
func (p *Pages) buildOf(r *http.Request) (b control.Build, rv bench.Review, err error) {
	id, err := strconv.ParseUint(r.PathValue("build"), 10, 64)
	if err != nil {
		return b, rv, control.Unknown(en("refusal.no-build-build-builds-have-numbers", "Build", fmt.Sprintf("%.40q", r.PathValue("build"))))
	}
	if rv, err = p.Shop.Review(id); err != nil {
		return b, rv, err
	}
	for _, b := range p.Shop.Builds() {
		if b.ID == id {
			return b, rv, nil
		}
	}
	return b, rv, control.Unknown(en("refusal.no-build", "Build", id))
}

// nameOf is the name of a person by id.
func (p *Pages) nameOf(id string) (name string) {
	p.Shop.Look(func(s *bench.Shop) { name = s.PersonName(id) })
	return name
}
