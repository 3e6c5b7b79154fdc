package store

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"

	"witnessmark/audit"
	"witnessmark/store/bundle"
)

// Bundle reads everything recorded of one build, named by its work order or its number, and proves it against a signed
// checkpoint: one that a witness has signed too, or the newest (nil). known is the verifier's text of a key of the shop;
// progress is called now and then, as every leaf hash before the checkpoint is needed, and may be nil.
func (r *Reader) Bundle(ctx context.Context, name, known string, signed []byte, progress func(done, all int64)) (bundle.Content, error) {
	return r.bundle(ctx, known, signed, progress, func(tx pgx.Tx) (uint64, string, error) { return findBuild(ctx, tx, r.shop, name) })
}

// BundleNumber is Bundle of the build with a number, whatever work orders are called.
func (r *Reader) BundleNumber(ctx context.Context, id uint64, known string, signed []byte, progress func(done, all int64)) (bundle.Content, error) {
	return r.bundle(ctx, known, signed, progress, func(tx pgx.Tx) (uint64, string, error) {
		engine, err := numbered(ctx, tx, r.shop, id)
		return id, engine, err
	})
}

func (r *Reader) bundle(ctx context.Context, known string, signed []byte, progress func(done, all int64), find func(pgx.Tx) (uint64, string, error)) (c bundle.Content, err error) {
	err = r.snapshot(ctx, func(tx pgx.Tx) error {
		g := &gather{tx: tx, shop: r.shop, found: map[int64]row{}, progress: progress}
		if c.Build, c.Engine, err = find(tx); err != nil {
			return err
		}
		if err := g.all(ctx, c.Build); err != nil {
			return fmt.Errorf("gather build %d: %w", c.Build, err)
		}
		c.WorkOrder = g.workOrder()
		c.Note = signed
		return g.prove(ctx, &c, known)
	})
	return c, err
}

// snapshot does all its reading in one state of the database.
func (r *Reader) snapshot(ctx context.Context, do func(pgx.Tx) error) error {
	tx, err := r.conn.BeginTx(ctx, pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly})
	if err != nil {
		return fmt.Errorf("begin reading: %w", err)
	}
	return errors.Join(do(tx), tx.Rollback(context.WithoutCancel(ctx)))
}

// gather collects the rows of a build.
type gather struct {
	tx    pgx.Tx
	shop  string
	found map[int64]row // by leaf

	progress func(done, all int64)
}

// all collects the build, whatever names it or one of its joint runs, the readings of these with every mark that was ever
// made of them, and what those name. A kind of record with a column run or build needs no line of its own here.
func (g *gather) all(ctx context.Context, build uint64) error {
	mark, reading := audit.Mark{}.Kind(), audit.ReadingTaken{}.Kind()
	if err := g.take(ctx, audit.BuildOpened{}.Kind(), "seq = $2", build); err != nil {
		return err
	}
	if err := g.take(ctx, audit.JointStarted{}.Kind(), "build = $2", build); err != nil {
		return err
	}
	runs := g.seqs(audit.JointStarted{}.Kind())
	for _, kind := range slices.Sorted(maps.Keys(tables)) {
		var err error
		r := emptyRow(kind)
		switch columns := r.columns(); {
		case kind == mark:
			err = g.take(ctx, mark, "reading IN (SELECT reading FROM witnessmark.mark WHERE shop = $1 AND run = ANY($2))", runs)
		case slices.Contains(columns, "run"):
			err = g.take(ctx, kind, "run = ANY($2) AND run <> 0", runs) // as the index of scans has it
		case slices.Contains(columns, "build"):
			err = g.take(ctx, kind, "build = $2", build)
		}
		if err != nil {
			return err
		}
	}
	if err := g.take(ctx, reading, "seq = ANY($2)", g.numbers("reading", mark)); err != nil {
		return err
	}
	if err := g.clock(ctx, build); err != nil {
		return err
	}
	return g.named(ctx)
}

// clock collects the steps of the clock between the first and the last entry of the build that were collected: they say which of
// its times may be wrong.
func (g *gather) clock(ctx context.Context, build uint64) error {
	last := build
	for _, r := range g.found {
		last = max(last, r.Seq)
	}
	return g.take(ctx, audit.ClockSet{}.Kind(), "seq BETWEEN ($2::bigint[])[1] AND ($2::bigint[])[2]", []uint64{build, last})
}

// named collects what the marks and persons' actions name: procedures, calibrations with what was found at them, adapters and
// people.
func (g *gather) named(ctx context.Context) error {
	mark := audit.Mark{}.Kind()
	if err := g.take(ctx, audit.WrenchDeclared{}.Kind(), "seq = ANY($2)", g.numbers("calibration", mark)); err != nil {
		return err
	}
	if err := g.take(ctx, audit.CalibrationFound{}.Kind(), "refused = '' AND wrench = ANY($2)", g.texts("wrench")); err != nil {
		return err
	}
	if err := g.take(ctx, audit.AdapterFitted{}.Kind(), `seq IN (SELECT max(f.seq) FROM witnessmark.mark m
		JOIN witnessmark.reading d ON d.shop = m.shop AND d.seq = m.reading
		JOIN witnessmark.adapter f ON f.shop = d.shop AND f.bench = d.bench AND f.adapter = m.adapter AND f.refused = ''
			AND f.wrench IN ('', d.wrench) AND f.seq < d.seq
		WHERE m.shop = $1 AND m.adapter <> '' AND m.reading = ANY($2) GROUP BY m.reading, m.no)`, g.numbers("reading", mark)); err != nil {
		return err
	}
	if err := g.take(ctx, audit.ProcedureAdded{}.Kind(), "refused = '' AND family || ' ' || revision = ANY($2)", g.revisions()); err != nil {
		return err
	}
	return g.take(ctx, audit.PersonAdded{}.Kind(), "refused = '' AND person = ANY($2)", g.texts("person", "given_by", "seconded"))
}

// take collects the rows of a kind for which a condition holds; $1 is the shop and $2 the argument.
func (g *gather) take(ctx context.Context, kind, condition string, arg any) error {
	r := emptyRow(kind)
	rows, err := g.tx.Query(ctx, "SELECT "+strings.Join(r.columns(), ", ")+" FROM witnessmark."+tables[kind].name+
		" WHERE shop = $1 AND ("+condition+")", g.shop, arg)
	if err != nil {
		return fmt.Errorf("read %s: %w", kind, err)
	}
	defer rows.Close()
	for rows.Next() {
		r := emptyRow(kind)
		if err := rows.Scan(r.targets()...); err != nil {
			return fmt.Errorf("read %s: %w", kind, err)
		}
		g.found[r.Index] = r
	}
	return rows.Err()
}

// each visits the fields of what was collected.
func (g *gather) each(visit func(kind, column string, f reflect.Value)) {
	for _, i := range slices.Sorted(maps.Keys(g.found)) {
		r := g.found[i]
		each(r.record, func(column string, f reflect.Value) { visit(r.kind, column, f) })
	}
}

func (g *gather) workOrder() string {
	for _, r := range g.found {
		if b, is := r.record.Interface().(audit.BuildOpened); is {
			return b.WorkOrder
		}
	}
	return ""
}

func (g *gather) seqs(kind string) []uint64 {
	out := []uint64{}
	for _, r := range g.found {
		if r.kind == kind {
			out = append(out, r.Seq)
		}
	}
	return out
}

// numbers are the sequence numbers in a column of a kind.
func (g *gather) numbers(column, kind string) []uint64 {
	set := map[uint64]bool{}
	g.each(func(k, c string, f reflect.Value) {
		if k == kind && c == column {
			set[f.Uint()] = true
		}
	})
	return slices.Collect(maps.Keys(set))
}

// texts is what stands in columns of any kind.
func (g *gather) texts(columns ...string) []string {
	set := map[string]bool{}
	g.each(func(_, c string, f reflect.Value) {
		if slices.Contains(columns, c) {
			set[f.String()] = true
		}
	})
	return slices.Collect(maps.Keys(set))
}

// revisions are the procedure revisions that were used, as family and revision with a blank between them.
func (g *gather) revisions() []string {
	set := map[string]bool{}
	for _, r := range g.found {
		switch e := r.record.Interface().(type) {
		case audit.BuildOpened:
			set[e.Family+" "+e.Revision] = true
		case audit.Mark:
			set[e.Family+" "+e.Revision] = true
		}
	}
	return slices.Collect(maps.Keys(set))
}
