package store

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"
)

// Accounts is how people prove who they are, and who is signed in: small state that changes, apart from the record. It is
// safe for concurrent use; a connection that broke is made anew at the next call.
type Accounts struct {
	shop    string
	address func(context.Context) (string, error)

	mu   sync.Mutex
	conn *pgx.Conn
}

// Proofs are the hashes by which a person signs in; empty: that way is not set up.
type Proofs struct {
	Password string
	PIN      string // at an enrolled bench only
}

// Session is somebody who is signed in. Data is the caller's.
type Session struct {
	Key     string // SHA-256 of what the browser holds
	Person  string
	Data    []byte
	Expires time.Time
}

// accountsWithin bounds a call, so that a page says that the database is away instead of waiting for it.
const accountsWithin = 3 * time.Second

// NewAccounts looks after the accounts of a shop in the database at an address, which is asked for at every connection.
func NewAccounts(shop string, address func(context.Context) (string, error)) *Accounts {
	return &Accounts{shop: shop, address: address}
}

// Close ends the connection.
func (a *Accounts) Close() error {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.drop()
}

func (a *Accounts) drop() error {
	if a.conn == nil {
		return nil
	}
	ctx, cancel := context.WithTimeout(context.Background(), accountsWithin)
	defer cancel()
	err := a.conn.Close(ctx)
	a.conn = nil
	return err
}

// with gives a connection to f. A connection that fails is dropped; f is tried once more on a new one where it was old,
// since a server that restarted ends all old ones. Every f may be done twice.
func (a *Accounts) with(ctx context.Context, f func(context.Context, *pgx.Conn) error) error {
	ctx, cancel := context.WithTimeout(ctx, accountsWithin)
	defer cancel()
	a.mu.Lock()
	defer a.mu.Unlock()
	for old := a.conn != nil; ; old = false {
		if a.conn == nil {
			url, err := a.address(ctx)
			if err != nil {
				return fmt.Errorf("find the database: %w", err)
			}
			if a.conn, err = connect(ctx, url, writerRole); err != nil {
				return err
			}
		}
		err := f(ctx, a.conn)
		if err == nil || errors.Is(err, pgx.ErrNoRows) || !a.conn.IsClosed() {
			return err
		}
		if err := errors.Join(err, a.drop()); !old {
			return err
		}
	}
}

// Proofs reads those of a person; the zero Proofs where there are none.
func (a *Accounts) Proofs(ctx context.Context, person string) (p Proofs, err error) {
	err = a.with(ctx, func(ctx context.Context, c *pgx.Conn) error {
		return c.QueryRow(ctx, "SELECT password, pin FROM witnessmark.account WHERE shop = $1 AND person = $2", a.shop, person).Scan(&p.Password, &p.PIN)
	})
	if errors.Is(err, pgx.ErrNoRows) {
		return Proofs{}, nil
	}
	return p, err
}

// Prove sets those proofs of a person that are not empty.
func (a *Accounts) Prove(ctx context.Context, person string, p Proofs) error {
	return a.with(ctx, func(ctx context.Context, c *pgx.Conn) error {
		_, err := c.Exec(ctx, `INSERT INTO witnessmark.account AS old (shop, person, password, pin) VALUES ($1, $2, $3, $4)
			ON CONFLICT (shop, person) DO UPDATE SET password = coalesce(nullif($3, ''), old.password), pin = coalesce(nullif($4, ''), old.pin)`,
			a.shop, person, p.Password, p.PIN)
		return err
	})
}

// Unit is the unit that a person chose to read torques in; empty: none.
func (a *Accounts) Unit(ctx context.Context, person string) (name string, err error) {
	err = a.with(ctx, func(ctx context.Context, c *pgx.Conn) error {
		return c.QueryRow(ctx, "SELECT unit FROM witnessmark.account WHERE shop = $1 AND person = $2", a.shop, person).Scan(&name)
	})
	if errors.Is(err, pgx.ErrNoRows) {
		return "", nil
	}
	return name, err
}

// ChooseUnit keeps the unit that a person reads torques in.
func (a *Accounts) ChooseUnit(ctx context.Context, person, name string) error {
	return a.with(ctx, func(ctx context.Context, c *pgx.Conn) error {
		_, err := c.Exec(ctx, `INSERT INTO witnessmark.account (shop, person, password, pin, unit) VALUES ($1, $2, '', '', $3)
			ON CONFLICT (shop, person) DO UPDATE SET unit = $3`, a.shop, person, name)
		return err
	})
}

// Session finds one that has not expired at the instant at; false: there is none.
func (a *Accounts) Session(ctx context.Context, key string, at time.Time) (s Session, found bool, err error) {
	err = a.with(ctx, func(ctx context.Context, c *pgx.Conn) error {
		s.Key = key
		return c.QueryRow(ctx, "SELECT person, data, expires FROM witnessmark.session WHERE shop = $1 AND key = $2 AND expires > $3",
			a.shop, key, at).Scan(&s.Person, &s.Data, &s.Expires)
	})
	if errors.Is(err, pgx.ErrNoRows) {
		return Session{}, false, nil
	}
	return s, err == nil, err
}

// Keep writes a session, and forgets those that had expired at the instant at.
func (a *Accounts) Keep(ctx context.Context, s Session, at time.Time) error {
	return a.with(ctx, func(ctx context.Context, c *pgx.Conn) error {
		if _, err := c.Exec(ctx, "DELETE FROM witnessmark.session WHERE shop = $1 AND expires <= $2", a.shop, at); err != nil {
			return err
		}
		_, err := c.Exec(ctx, `INSERT INTO witnessmark.session (shop, key, person, data, expires) VALUES ($1, $2, $3, $4, $5)
			ON CONFLICT (shop, key) DO UPDATE SET person = $3, data = $4, expires = $5`, a.shop, s.Key, s.Person, s.Data, s.Expires)
		return err
	})
}

// End ends one session.
func (a *Accounts) End(ctx context.Context, key string) error {
	return a.with(ctx, func(ctx context.Context, c *pgx.Conn) error {
		_, err := c.Exec(ctx, "DELETE FROM witnessmark.session WHERE shop = $1 AND key = $2", a.shop, key)
		return err
	})
}

// EndAll ends all sessions of a person.
func (a *Accounts) EndAll(ctx context.Context, person string) error {
	return a.with(ctx, func(ctx context.Context, c *pgx.Conn) error {
		_, err := c.Exec(ctx, "DELETE FROM witnessmark.session WHERE shop = $1 AND person = $2", a.shop, person)
		return err
	})
}
