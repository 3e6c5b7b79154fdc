package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
)

// limit is what the disk and the database need for the least that can be asked of them.
type limit struct{ sync, commit spread }

// spread is the middle of some durations, and what 99 of 100 lie within.
type spread struct{ p50, p99 time.Duration }

func spreadOf(all []time.Duration) spread {
	slices.Sort(all)
	return spread{all[len(all)/2], all[len(all)*99/100]}
}

// entrySize is about what a reading takes in the journal, in bytes.
const entrySize = 400

// limits measures one sync of an append, and one commit of a row, of about the size of a reading, with a pause before each: a
// disk, a processor and a server that were asked a moment ago answer sooner.
func (s *shop) limits(ctx context.Context, pause time.Duration) (l limit, err error) {
	tries := 300
	if s.opt.quick {
		tries = 50
	}
	if l.sync, err = s.syncs(tries, pause); err != nil {
		return l, err
	}
	l.commit, err = s.commits(ctx, tries, pause)
	return l, err
}

func (l limit) both() spread { return spread{l.sync.p50 + l.commit.p50, l.sync.p99 + l.commit.p99} }

func (s *shop) syncs(tries int, pause time.Duration) (_ spread, err error) {
	f, err := os.Create(filepath.Join(s.dir, "append"))
	if err != nil {
		return spread{}, err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	entry := bytes.Repeat([]byte("x"), entrySize)
	all := make([]time.Duration, tries)
	for i := range all {
		time.Sleep(pause)
		began := time.Now()
		if _, err := f.Write(entry); err != nil {
			return spread{}, err
		}
		if err := f.Sync(); err != nil {
			return spread{}, err
		}
		all[i] = time.Since(began)
	}
	return spreadOf(all), nil
}

// connect opens a connection that owns the server, with a schema of our own beside the program's.
func (s *shop) connect(ctx context.Context) (*pgx.Conn, error) {
	conn, err := pgx.Connect(ctx, s.cluster.ConnString())
	if err != nil {
		return nil, err
	}
	_, err = conn.Exec(ctx, "SET client_min_messages = warning; CREATE SCHEMA IF NOT EXISTS bench; CREATE TABLE IF NOT EXISTS bench.entry (body text)")
	return conn, err
}

func (s *shop) commits(ctx context.Context, tries int, pause time.Duration) (_ spread, err error) {
	conn, err := s.connect(ctx)
	if err != nil {
		return spread{}, err
	}
	defer func() { err = errors.Join(err, conn.Close(context.WithoutCancel(ctx))) }()
	entry := strings.Repeat("x", entrySize)
	all := make([]time.Duration, tries)
	for i := range all {
		time.Sleep(pause)
		began := time.Now()
		if _, err := conn.Exec(ctx, "INSERT INTO bench.entry VALUES ($1)", entry); err != nil {
			return spread{}, err
		}
		all[i] = time.Since(began)
	}
	return spreadOf(all), nil
}

// written are the tables that readings go to, and the column that numbers their entries.
var written = []string{"reading", "mark", "ledger_leaf"}

// copied is how long one COPY a table takes for the rows of the entries, into tables with the same indexes, one commit
// at the end.
func (s *shop) copied(ctx context.Context, from, to uint64) (took time.Duration, err error) {
	conn, err := s.connect(ctx)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, conn.Close(context.WithoutCancel(ctx))) }()
	rows := map[string]*bytes.Buffer{}
	for _, t := range written {
		rows[t] = &bytes.Buffer{}
		if _, err := conn.Exec(ctx, fmt.Sprintf("DROP TABLE IF EXISTS bench.%[1]s; CREATE TABLE bench.%[1]s (LIKE witnessmark.%[1]s INCLUDING ALL)", t)); err != nil {
			return 0, err
		}
		if _, err := conn.PgConn().CopyTo(ctx, rows[t], fmt.Sprintf("COPY (SELECT * FROM witnessmark.%s WHERE seq BETWEEN %d AND %d) TO STDOUT (FORMAT binary)", t, from, to)); err != nil {
			return 0, err
		}
	}
	began := time.Now()
	tx, err := conn.Begin(ctx)
	if err != nil {
		return 0, err
	}
	defer tx.Rollback(context.WithoutCancel(ctx)) // does nothing once it is committed
	for _, t := range written {
		if _, err := conn.PgConn().CopyFrom(ctx, rows[t], fmt.Sprintf("COPY bench.%s FROM STDIN (FORMAT binary)", t)); err != nil {
			return 0, err
		}
	}
	err = tx.Commit(ctx)
	return time.Since(began), err
}
