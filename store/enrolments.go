package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
)

// Enrolment is a browser that stands at a bench.
type Enrolment struct {
	Key     string // SHA-256 of what the browser holds
	Bench   string
	Person  string // who enrolled it
	Since   time.Time
	Expires time.Time
}

// Enrol writes an enrolment, and forgets those that had expired when it began.
func (a *Accounts) Enrol(ctx context.Context, e Enrolment) error {
	return a.with(ctx, func(ctx context.Context, c *pgx.Conn) error {
		if _, err := c.Exec(ctx, "DELETE FROM witnessmark.enrolment WHERE shop = $1 AND expires <= $2", a.shop, e.Since); err != nil {
			return err
		}
		_, err := c.Exec(ctx, `INSERT INTO witnessmark.enrolment (shop, key, bench, person, since, expires) VALUES ($1, $2, $3, $4, $5, $6)
			ON CONFLICT (shop, key) DO NOTHING`, a.shop, e.Key, e.Bench, e.Person, e.Since, e.Expires)
		return err
	})
}

// Enrolments lists those that have not expired at the instant at, by bench and age.
func (a *Accounts) Enrolments(ctx context.Context, at time.Time) (all []Enrolment, err error) {
	err = a.with(ctx, func(ctx context.Context, c *pgx.Conn) error {
		rows, err := c.Query(ctx, `SELECT key, bench, person, since, expires FROM witnessmark.enrolment
			WHERE shop = $1 AND expires > $2 ORDER BY bench, since, key`, a.shop, at)
		if err != nil {
			return err
		}
		all, err = pgx.CollectRows(rows, pgx.RowToStructByName[Enrolment])
		return err
	})
	return all, err
}

// Dismiss ends an enrolment.
func (a *Accounts) Dismiss(ctx context.Context, key string) error {
	return a.with(ctx, func(ctx context.Context, c *pgx.Conn) error {
		_, err := c.Exec(ctx, "DELETE FROM witnessmark.enrolment WHERE shop = $1 AND key = $2", a.shop, key)
		return err
	})
}
