package store

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgtype"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"
)

//go:embed migrations/*.sql
var migrations embed.FS

// connectWithin bounds how long a connection may take to come about.
const connectWithin = 5 * time.Second

// patience is the most that the server gives a statement of who writes, and a transaction that has become silent: below the time
// in which the writer gives up a commit by itself. For a lock it waits half as long.
var patience = 50 * time.Second

// impatient has the server end what would hang for ever, and with it the locks that are held: a statement, a wait for a lock, a
// transaction whose client is silent, a session whose client is gone without a word.
func impatient(c *pgx.ConnConfig) {
	waitNoLonger(c)
	c.RuntimeParams["statement_timeout"] = strconv.FormatInt(patience.Milliseconds(), 10)
	c.RuntimeParams["idle_in_transaction_session_timeout"] = c.RuntimeParams["statement_timeout"]
	c.RuntimeParams["tcp_keepalives_idle"] = "30" // seconds, as the next
	c.RuntimeParams["tcp_keepalives_interval"] = "10"
	c.RuntimeParams["tcp_keepalives_count"] = "3"
}

func waitNoLonger(c *pgx.ConnConfig) {
	c.RuntimeParams["lock_timeout"] = strconv.FormatInt((patience / 2).Milliseconds(), 10)
}

// configure reads a database URL. The search path is empty, so that a name without its schema is an error.
func configure(url string) (*pgx.ConnConfig, error) {
	c, err := pgx.ParseConfig(url)
	if err != nil {
		return nil, fmt.Errorf("read the address of the database: %w", err)
	}
	c.ConnectTimeout = connectWithin
	c.DialFunc = dial
	c.RuntimeParams["search_path"] = ""
	c.RuntimeParams["application_name"] = "witnessmark"
	c.RuntimeParams["timezone"] = "UTC"
	// A few rows out of millions are guessed to be more than they are, and starting workers for them takes ten times as
	// long as reading them.
	c.RuntimeParams["max_parallel_workers_per_gather"] = "0"
	c.RuntimeParams["jit"] = "off"
	return c, nil
}

// unreached is why no connection came about, as one sentence; the driver writes a line for each address that it tried.
func unreached(err error) error {
	var lines []string
	for line := range strings.Lines(err.Error()) {
		if line = strings.TrimSuffix(strings.TrimSpace(line), ":"); !slices.Contains(lines, line) {
			lines = append(lines, line)
		}
	}
	return &unreachable{strings.Join(lines, "; "), err}
}

type unreachable struct {
	why string
	err error
}

func (u *unreachable) Error() string {
	return "connect to the database (see that its server runs, and that its address is right): " + u.why
}

func (u *unreachable) Unwrap() error { return u.err }

// connect opens a connection in a role.
func connect(ctx context.Context, url, role string) (*pgx.Conn, error) {
	c, err := configure(url)
	if err != nil {
		return nil, err
	}
	if role == writerRole {
		impatient(c)
	}
	conn, err := pgx.ConnectConfig(ctx, c)
	if err != nil {
		return nil, unreached(err)
	}
	conn.TypeMap().RegisterType(&pgtype.Type{Name: "timestamptz", OID: pgtype.TimestamptzOID,
		Codec: &pgtype.TimestamptzCodec{ScanLocation: time.UTC}})
	if _, err := conn.Exec(ctx, "SET ROLE "+role); err != nil {
		return nil, errors.Join(fmt.Errorf("take on the role %s (has a daemon prepared this database?): %w", role, err), conn.Close(ctx))
	}
	return conn, nil
}

// Migrate brings the schema of a database up to this version. A crash in between leaves a whole earlier version: every step is a
// transaction, and the next start goes on from there.
func Migrate(ctx context.Context, url string) error {
	c, err := configure(url)
	if err != nil {
		return err
	}
	waitNoLonger(c) // a step itself may take long
	db := stdlib.OpenDB(*c)
	return errors.Join(up(ctx, db), db.Close())
}

func up(ctx context.Context, db *sql.DB) error {
	if err := makeSchema(ctx, db); err != nil {
		return err
	}
	if err := makeRoles(ctx, func(ctx context.Context, sql string) error { _, err := db.ExecContext(ctx, sql); return err }); err != nil {
		return err
	}
	steps, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return err
	}
	locker, err := lock.NewPostgresSessionLocker()
	if err != nil {
		return err
	}
	p, err := goose.NewProvider(goose.DialectPostgres, db, steps, goose.WithTableName("witnessmark.schema_version"),
		goose.WithSessionLocker(locker), goose.WithDisableGlobalRegistry(true), goose.WithSlog(slog.New(slog.DiscardHandler)))
	if err != nil {
		return fmt.Errorf("prepare the database's schema: %w", err)
	}
	if _, err := p.Up(ctx); err != nil {
		return fmt.Errorf("bring the database's schema up to date: %w", err)
	}
	there, known, err := p.GetVersions(ctx)
	if err != nil {
		return fmt.Errorf("read the version of the database's schema: %w", err)
	}
	if there > known {
		return fmt.Errorf("the database is of version %d and this program knows %d: use the newer program", there, known)
	}
	return nil
}

// makeSchema asks first: an ordinary user may use a schema that the owner made without the right to make one.
func makeSchema(ctx context.Context, db *sql.DB) error {
	var there bool
	if err := db.QueryRowContext(ctx, "SELECT to_regnamespace('witnessmark') IS NOT NULL").Scan(&there); err != nil {
		return unreached(err)
	}
	if there {
		return nil
	}
	_, err := db.ExecContext(ctx, "CREATE SCHEMA IF NOT EXISTS witnessmark")
	var pg *pgconn.PgError
	if errors.As(err, &pg) && (pg.Code == "23505" || pg.Code == "42P06") {
		return nil // another daemon made it at the same moment
	}
	if err != nil {
		return fmt.Errorf("make the schema witnessmark: %w", err)
	}
	return nil
}
