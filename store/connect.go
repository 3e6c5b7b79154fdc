package store

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"time"

	"github.com/jackc/pgx/v5"
)

// The roles that sessions work as. Neither can log in by itself.
const (
	writerRole = "witnessmark_writer"
	readerRole = "witnessmark_reader"
)

// connectTimeout bounds a connection attempt where the URL does not; a host that swallows packets would hold it for minutes.
const connectTimeout = 5 * time.Second

// configure reads a URL for our sessions. An empty search_path makes a forgotten schema an error.
func configure(url string) (*pgx.ConnConfig, error) {
	c, err := pgx.ParseConfig(url)
	if err != nil {
		return nil, fmt.Errorf("read address of the database: %w", err)
	}
	settings(c)
	return c, nil
}

func settings(c *pgx.ConnConfig) {
	if c.ConnectTimeout == 0 {
		c.ConnectTimeout = connectTimeout
	}
	for name, value := range map[string]string{
		"search_path":                         "",
		"timezone":                            "UTC",
		"application_name":                    "witnessmark",
		"synchronous_commit":                  "on",
		"statement_timeout":                   "60s",
		"idle_in_transaction_session_timeout": "60s",
		// A box that lost its power must let go of the lock before long.
		"tcp_keepalives_idle":     "10",
		"tcp_keepalives_interval": "5",
		"tcp_keepalives_count":    "3",
	} {
		c.RuntimeParams[name] = value
	}
}

// connect makes the writing session and takes the shop's lock in it.
//
// When a commit's answer was lost, its old session may still be at work. That session holds the lock until it ends, one
// way or the other; so once we have the lock, what is in the database is final.
func (s *Store) connect(ctx context.Context) error {
	c, err := configure(s.opt.URL)
	if err != nil {
		return err
	}
	if err := s.Close(); err != nil {
		return fmt.Errorf("close old connection to the database: %w", err)
	}
	s.conn = nil
	conn, err := pgx.ConnectConfig(ctx, c)
	if err != nil {
		return fmt.Errorf("connect to the database: %w", err)
	}
	if err := lock(ctx, conn, "shop "+s.opt.Shop, s.opt.LockWait); err != nil {
		return errors.Join(err, conn.Close(ctx))
	}
	if err := become(ctx, conn, writerRole); err != nil {
		return errors.Join(err, conn.Close(ctx))
	}
	s.conn = conn
	return nil
}

// lock takes a lock that lasts as long as the session.
func lock(ctx context.Context, conn *pgx.Conn, name string, wait time.Duration) error {
	milliseconds := strconv.FormatInt(max(1, wait.Milliseconds()), 10)
	if _, err := conn.Exec(ctx, `SELECT set_config('lock_timeout', $1, false)`, milliseconds); err != nil {
		return fmt.Errorf("set lock timeout: %w", err)
	}
	_, err := conn.Exec(ctx, `SELECT pg_advisory_lock(hashtextextended($1, 0))`, "witnessmark "+name)
	if code(err) == lockNotAvailable {
		return ErrInUse
	}
	if err != nil {
		return fmt.Errorf("take lock in the database: %w", err)
	}
	return nil
}

func become(ctx context.Context, conn *pgx.Conn, role string) error {
	if _, err := conn.Exec(ctx, "SET ROLE "+pgx.Identifier{role}.Sanitize()); err != nil {
		return fmt.Errorf("work as role %s, which the user of the database must be granted: %w", role, err)
	}
	return nil
}
