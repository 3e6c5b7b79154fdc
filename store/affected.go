package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"witnessmark/audit"
	"witnessmark/audit/recall"
)

// Suspect names what may be wrong; empty fields ask for nothing, and all that are given must hold.
type Suspect struct {
	Lot              string // of bolts, as it was answered to a check, but for case and separators
	Family, Revision string // of the procedure; Revision may be empty: all
	Bench            string
	From, To         time.Time // both included
}

// Touched is one run of a joint that a filter holds for.
type Touched struct {
	Ref
	Run     uint64
	Joint   string
	Bench   string
	Started time.Time
	Closed  *time.Time // nil: still on the bench
}

// Ref names a build as people do.
type Ref struct {
	Build     uint64
	Engine    string
	WorkOrder string
	Unit      string
	Family    string
	Revision  string
}

// Touched lists the runs that a filter holds for, in order. A run belongs to a span of time when any part of it does; a lot
// that was answered and then answered otherwise counts all the same.
func (r *Reader) Touched(ctx context.Context, f Suspect) ([]Touched, error) {
	rows, err := r.conn.Query(ctx, `SELECT b.seq, b.engine, b.work_order, b.unit, b.family, b.revision, s.seq, s.joint, s.bench, s.at, c.at
		FROM witnessmark.joint_start s
		JOIN witnessmark.build b ON b.shop = s.shop AND b.seq = s.build
		LEFT JOIN witnessmark.joint_close c ON c.shop = s.shop AND c.run = s.seq AND c.refused = ''
		WHERE s.shop = $1 AND s.refused = '' AND ($2 = '' OR s.bench = $2) AND ($3 = '' OR b.family = $3) AND ($4 = '' OR b.revision = $4)
		AND s.at <= $6 AND (c.at IS NULL OR c.at >= $5)
		AND ($7 = '' OR s.seq IN (SELECT run FROM witnessmark.check_answer WHERE shop = $1 AND witnessmark.plain(value) COLLATE "C" = witnessmark.plain($7) AND value <> '' AND refused = ''))
		ORDER BY s.seq`, r.shop, f.Bench, f.Family, f.Revision, f.From, f.To, f.Lot)
	if err != nil {
		return nil, fmt.Errorf("list what is affected: %w", err)
	}
	out, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (t Touched, err error) {
		err = row.Scan(&t.Build, &t.Engine, &t.WorkOrder, &t.Unit, &t.Family, &t.Revision, &t.Run, &t.Joint, &t.Bench, &t.Started, &t.Closed)
		return t, err
	})
	if err != nil {
		return nil, fmt.Errorf("list what is affected: %w", err)
	}
	return out, nil
}

// Pull is a reading of a wrench with the mark that is in force.
type Pull struct {
	Ref // of no build: all empty
	At  time.Time
	audit.ReadingTaken
	audit.Mark
}

// PullsOf hands out the readings that a wrench took in a span of time, both ends included, in order. Pull is reused.
func (r *Reader) PullsOf(ctx context.Context, wrench string, span recall.Span, each func(*Pull) error) error {
	to := span.To
	if to.IsZero() {
		to = time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	rows, err := r.conn.Query(ctx, `SELECT d.at, d.bench, d.torque, d.angle, d.direction, d.wrench,
		m.reading, m.no, m.run, m.build, m.joint, m.stage, m.fastener, m.verdict, m.family, m.revision, m.calibration, m.applied,
		coalesce(b.engine, ''), coalesce(b.work_order, ''), coalesce(b.unit, ''), coalesce(b.family, ''), coalesce(b.revision, '')
		FROM witnessmark.reading d
		CROSS JOIN LATERAL (SELECT * FROM witnessmark.mark m WHERE m.shop = d.shop AND m.reading = d.seq ORDER BY m.no DESC LIMIT 1) m
		LEFT JOIN witnessmark.build b ON b.shop = m.shop AND b.seq = m.build
		WHERE d.shop = $1 AND d.wrench = $2 AND d.at BETWEEN $3 AND $4 ORDER BY d.seq`, r.shop, wrench, span.From, to)
	if err != nil {
		return fmt.Errorf("read what the wrench took: %w", err)
	}
	var p Pull
	_, err = pgx.ForEachRow(rows, []any{&p.At, &p.Bench, &p.Torque, &p.Angle, &p.Direction, &p.Wrench,
		&p.Mark.Reading, &p.No, &p.Run, &p.Mark.Build, &p.Joint, &p.Stage, &p.Fastener, &p.Verdict, &p.Mark.Family, &p.Mark.Revision, &p.Calibration, &p.Applied,
		&p.Engine, &p.WorkOrder, &p.Unit, &p.Ref.Family, &p.Ref.Revision}, func() error {
		p.Ref.Build = p.Mark.Build
		return each(&p)
	})
	if err != nil {
		return fmt.Errorf("read what the wrench took: %w", err)
	}
	return nil
}

// Declared lists the declarations of a wrench by the numbers of their entries, which marks name.
func (r *Reader) Declared(ctx context.Context, wrench string) (map[uint64]audit.WrenchDeclared, error) {
	byEntry := map[uint64]audit.WrenchDeclared{}
	err := r.events(ctx, audit.WrenchDeclared{}.Kind(), wrench, func(rec row) {
		byEntry[rec.Seq] = rec.record.Interface().(audit.WrenchDeclared)
	})
	return byEntry, err
}

// events reads the records of a kind about a wrench, in order.
func (r *Reader) events(ctx context.Context, kind, wrench string, each func(row)) error {
	e := emptyRow(kind)
	rows, err := r.conn.Query(ctx, "SELECT "+qualified("e", e.columns())+" FROM witnessmark."+tables[kind].name+` e
		WHERE e.shop = $1 AND e.wrench = $2 AND e.refused = '' ORDER BY e.seq`, r.shop, wrench)
	if err != nil {
		return fmt.Errorf("read what is known of wrench %s: %w", wrench, err)
	}
	defer rows.Close()
	for rows.Next() {
		e := emptyRow(kind)
		if err := rows.Scan(e.targets()...); err != nil {
			return fmt.Errorf("read what is known of wrench %s: %w", wrench, err)
		}
		each(e)
	}
	return rows.Err()
}

// Procedures are the files of all procedure revisions, by family and revision.
func (r *Reader) Procedures(ctx context.Context) (map[[2]string]string, error) {
	rows, err := r.conn.Query(ctx, `SELECT family, revision, text FROM witnessmark.procedure WHERE shop = $1 AND refused = ''`, r.shop)
	if err != nil {
		return nil, fmt.Errorf("read procedures: %w", err)
	}
	out := map[[2]string]string{}
	var family, revision, text string
	_, err = pgx.ForEachRow(rows, []any{&family, &revision, &text}, func() error {
		out[[2]string{family, revision}] = text
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read procedures: %w", err)
	}
	return out, nil
}

// AnswerOf names an answer to a check of a fastener.
type AnswerOf struct {
	Run      uint64
	Fastener string
}

// Answers are the newest answers to a check in all runs.
func (r *Reader) Answers(ctx context.Context, check string) (map[AnswerOf]string, error) {
	rows, err := r.conn.Query(ctx, `SELECT run, fastener, value FROM witnessmark.check_answer
		WHERE shop = $1 AND check_id = $2 AND refused = '' ORDER BY seq`, r.shop, check)
	if err != nil {
		return nil, fmt.Errorf("read answers: %w", err)
	}
	out := map[AnswerOf]string{}
	var of AnswerOf
	var value string
	_, err = pgx.ForEachRow(rows, []any{&of.Run, &of.Fastener, &value}, func() error {
		out[of] = value
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read answers: %w", err)
	}
	return out, nil
}
