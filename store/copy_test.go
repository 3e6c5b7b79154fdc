package store_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"witnessmark/store"
	"witnessmark/store/cluster/clustertest"
	"witnessmark/store/ledger"
)

// BenchmarkCopy_SameRows is what BenchmarkStore_Commit is held against: readings, a mark and two leaves for each, copied
// into the same tables in one transaction, without hashing, signing, checkpoint or head.
func BenchmarkCopy_SameRows(b *testing.B) {
	for _, n := range []int{1, 100, 500} {
		b.Run(fmt.Sprintf("%d readings", n), func(b *testing.B) {
			conn := copyTarget(b)
			next := 1
			for b.Loop() {
				if err := copyRows(b.Context(), conn, next, n); err != nil {
					b.Fatal(err)
				}
				next += n
			}
		})
	}
}

// copyTarget is a database with the tables in it.
func copyTarget(b *testing.B) *pgx.Conn {
	b.Helper()
	dir, url := b.TempDir(), clustertest.Database(b)
	key, err := ledger.LoadOrCreateKey(dir+"/k", store.Origin("s1"))
	if err != nil {
		b.Fatal(err)
	}
	st, err := store.Open(b.Context(), store.Options{URL: url, Shop: "s1", Key: key, Outside: dir + "/c", Clock: time.Now})
	if err != nil {
		b.Fatal(err)
	}
	if err := st.Close(); err != nil {
		b.Fatal(err)
	}
	conn, err := pgx.Connect(b.Context(), url)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { conn.Close(context.Background()) })
	return conn
}

// load is the rows of one table.
type load struct {
	table   string
	columns []string
	rows    [][]any
}

func copyRows(ctx context.Context, conn *pgx.Conn, first, n int) error {
	tx, err := conn.Begin(ctx)
	if err != nil {
		return err
	}
	defer func() { _ = tx.Rollback(ctx) }() // nothing is left to roll back after a commit
	for _, l := range loads(first, n) {
		if _, err := tx.CopyFrom(ctx, pgx.Identifier{"witnessmark", l.table}, l.columns, pgx.CopyFromRows(l.rows)); err != nil {
			return err
		}
	}
	return tx.Commit(ctx)
}

func loads(first, n int) []load {
	at, hash, raw := time.Date(2026, 5, 4, 9, 0, 0, 1000, time.UTC), make([]byte, 32), []byte("#1;45.2\r\n")
	readings := load{"reading", []string{"shop", "seq", "at", "refused", "ledger_index", "bench", "wrench", "torque", "torque_text", "unit",
		"angle", "direction", "counter", "clock", "serial", "tag", "raw", "profile"}, nil}
	marks := load{"mark", []string{"shop", "reading", "no", "seq", "at", "refused", "ledger_index", "run", "build", "joint", "stage",
		"fastener", "verdict", "flags", "confidence", "located_by", "family", "revision", "calibration", "adapter"}, nil}
	leaves := load{"ledger_leaf", []string{"shop", "index", "kind", "seq", "hash"}, nil}
	for seq := first; seq < first+n; seq++ {
		readings.rows = append(readings.rows, []any{"s1", seq, at, "", 2 * seq, "B", "W1", 45_200_000, "45.2", "N·m",
			31_500, "tighten", seq, "", "", "", raw, "p 1"})
		marks.rows = append(marks.rows, []any{"s1", seq, 1, seq, at, "", 2*seq + 1, 5, 4, "caps", "snug",
			"1", "pass", []string{"re-hit"}, 997_000, "order", "F", "1", 3, ""})
		leaves.rows = append(leaves.rows, []any{"s1", 2 * seq, "reading", seq, hash}, []any{"s1", 2*seq + 1, "mark", seq, hash})
	}
	return []load{readings, marks, leaves}
}
