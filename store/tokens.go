package store

import (
	"context"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"
)

// Token proves a machine. What it may do follows from the record, which names it too.
type Token struct {
	Key     string // SHA-256 of what the machine holds
	Name    string
	Person  string
	Expires time.Time
}

// KeepToken writes a token in the place of any other of its name.
func (a *Accounts) KeepToken(ctx context.Context, t Token) error {
	return a.with(ctx, func(ctx context.Context, c *pgx.Conn) error {
		_, err := c.Exec(ctx, `INSERT INTO witnessmark.token (shop, name, key, person, expires) VALUES ($1, $2, $3, $4, $5)
			ON CONFLICT (shop, name) DO UPDATE SET key = $3, person = $4, expires = $5`, a.shop, t.Name, t.Key, t.Person, t.Expires)
		return err
	})
}

// Token finds a token, expired or not; false: there is none.
func (a *Accounts) Token(ctx context.Context, key string) (t Token, found bool, err error) {
	err = a.with(ctx, func(ctx context.Context, c *pgx.Conn) error {
		t.Key = key
		return c.QueryRow(ctx, "SELECT name, person, expires FROM witnessmark.token WHERE shop = $1 AND key = $2", a.shop, key).
			Scan(&t.Name, &t.Person, &t.Expires)
	})
	if errors.Is(err, pgx.ErrNoRows) {
		return Token{}, false, nil
	}
	return t, err == nil, err
}

// DropToken forgets a token.
func (a *Accounts) DropToken(ctx context.Context, name string) error {
	return a.with(ctx, func(ctx context.Context, c *pgx.Conn) error {
		_, err := c.Exec(ctx, "DELETE FROM witnessmark.token WHERE shop = $1 AND name = $2", a.shop, name)
		return err
	})
}
