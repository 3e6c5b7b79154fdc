package store

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"witnessmark/audit"
)

// Build reads everything of one build, named by its work order or its number. A work order that stands for several
// builds is an error that names them.
func (r *Reader) Build(ctx context.Context, name string) (*History, error) {
	id, engine, err := findBuild(ctx, r.conn, r.shop, name)
	if err != nil {
		return nil, err
	}
	return r.only(ctx, id, engine)
}

// BuildNumber reads everything of the build with a number, whatever work orders are called.
func (r *Reader) BuildNumber(ctx context.Context, id uint64) (*History, error) {
	engine, err := numbered(ctx, r.conn, r.shop, id)
	if err != nil {
		return nil, err
	}
	return r.only(ctx, id, engine)
}

func (r *Reader) only(ctx context.Context, id uint64, engine string) (*History, error) {
	h, err := r.History(ctx, engine)
	if err != nil {
		return nil, err
	}
	h.Builds = slices.DeleteFunc(h.Builds, func(b BuildHistory) bool { return b.ID != id })
	return h, nil
}

// querier is a connection or a transaction.
type querier interface {
	Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error)
}

// findBuild finds the build that a person means by a work order or a number.
func findBuild(ctx context.Context, q querier, shop, name string) (id uint64, engine string, err error) {
	rows, err := q.Query(ctx, `SELECT seq, engine, work_order = $2 AS by_order FROM witnessmark.build
		WHERE shop = $1 AND refused = '' AND (work_order = $2 OR seq::text = $2) ORDER BY by_order DESC, seq`, shop, name)
	if err != nil {
		return 0, "", fmt.Errorf("find the build: %w", err)
	}
	type found struct {
		Seq     uint64
		Engine  string
		ByOrder bool
	}
	all, err := pgx.CollectRows(rows, pgx.RowToStructByPos[found])
	switch {
	case err != nil:
		return 0, "", fmt.Errorf("find the build: %w", err)
	case len(all) == 0:
		return 0, "", fmt.Errorf("no build %q in this shop: give its work order or its number", name)
	case len(all) > 1 && all[1].ByOrder:
		var numbers []string
		for _, f := range all {
			if f.ByOrder {
				numbers = append(numbers, fmt.Sprint(f.Seq))
			}
		}
		return 0, "", fmt.Errorf("the work order %s has the builds %s: give the number", name, strings.Join(numbers, ", "))
	}
	return all[0].Seq, all[0].Engine, nil
}

// ErrNotRecorded is a build that is not in the database, or not yet.
var ErrNotRecorded = errors.New("the database does not have this build yet")

// numbered is the engine of the build with a number.
func numbered(ctx context.Context, q querier, shop string, id uint64) (engine string, err error) {
	rows, err := q.Query(ctx, "SELECT engine FROM witnessmark.build WHERE shop = $1 AND refused = '' AND seq = $2", shop, id)
	if err != nil {
		return "", fmt.Errorf("find build %d: %w", id, err)
	}
	engine, err = pgx.CollectExactlyOneRow(rows, pgx.RowTo[string])
	if errors.Is(err, pgx.ErrNoRows) {
		return "", ErrNotRecorded
	}
	if err != nil {
		return "", fmt.Errorf("find build %d: %w", id, err)
	}
	return engine, nil
}

// Declaration is the statement of a wrench and the calibration in force from then on.
type Declaration struct {
	Seq uint64
	At  time.Time
	audit.WrenchDeclared
}

// Declarations reads the statements that the marks of a build were judged by, the oldest first.
func (r *Reader) Declarations(ctx context.Context, b *BuildHistory) ([]Declaration, error) {
	var wanted []uint64
	for i := range b.Runs {
		for _, m := range b.Runs[i].InForce() {
			wanted = append(wanted, m.Calibration)
		}
	}
	w := emptyRow(audit.WrenchDeclared{}.Kind())
	rows, err := r.conn.Query(ctx, "SELECT "+strings.Join(w.columns(), ", ")+` FROM witnessmark.wrench
		WHERE shop = $1 AND seq = ANY($2) ORDER BY seq`, r.shop, wanted)
	if err != nil {
		return nil, fmt.Errorf("read calibrations: %w", err)
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (Declaration, error) {
		w := emptyRow(w.kind)
		err := row.Scan(w.targets()...)
		return Declaration{w.Seq, w.At, w.record.Interface().(audit.WrenchDeclared)}, err
	})
	if err != nil {
		return nil, fmt.Errorf("read calibrations: %w", err)
	}
	return list, nil
}

// SignedAfter reads the first checkpoint, as a signed note, that holds everything recorded of the build. While nothing is
// added to the build it stays the same one.
func (r *Reader) SignedAfter(ctx context.Context, b *BuildHistory) (signed []byte, at time.Time, err error) {
	last, err := r.lastLeaf(ctx, b)
	if err != nil {
		return nil, at, err
	}
	err = r.conn.QueryRow(ctx, `SELECT note, at FROM witnessmark.checkpoint WHERE shop = $1 AND size > $2 ORDER BY size LIMIT 1`,
		r.shop, last).Scan(&signed, &at)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, at, fmt.Errorf("no checkpoint holds build %d whole: run witnessmark verify", b.ID)
	}
	if err != nil {
		return nil, at, fmt.Errorf("read the checkpoint: %w", err)
	}
	return signed, at, nil
}

// lastLeaf is the highest leaf of the build in any table that names its run, else in any that names the build, and of how its
// wrenches were found.
func (r *Reader) lastLeaf(ctx context.Context, b *BuildHistory) (int64, error) {
	runs := []uint64{0}[:0]
	for i := range b.Runs {
		runs = append(runs, b.Runs[i].ID)
	}
	parts := []string{"SELECT ledger_index FROM witnessmark.build WHERE shop = $1 AND seq = $2 AND $3::bigint[] IS NOT NULL"}
	for _, t := range tables {
		switch {
		case hasColumn(t.record, "run"):
			parts = append(parts, "SELECT ledger_index FROM witnessmark."+t.name+" WHERE shop = $1 AND run = ANY($3)")
		case hasColumn(t.record, "build"):
			parts = append(parts, "SELECT ledger_index FROM witnessmark."+t.name+" WHERE shop = $1 AND build = $2")
		}
	}
	// A wrench that was found bad is told on its sheet.
	parts = append(parts, "SELECT ledger_index FROM witnessmark.calibration_found WHERE shop = $1 AND NOT good AND wrench = ANY($4)")
	var last int64
	sql := "SELECT max(ledger_index) FROM (" + strings.Join(parts, " UNION ALL ") + ") AS leaf"
	if err := r.conn.QueryRow(ctx, sql, r.shop, b.ID, runs, b.wrenches()).Scan(&last); err != nil {
		return 0, fmt.Errorf("find the last leaf of build %d: %w", b.ID, err)
	}
	return last, nil
}

func hasColumn(t reflect.Type, name string) bool {
	found := false
	each(reflect.New(t).Elem(), func(column string, _ reflect.Value) { found = found || column == name })
	return found
}
