package store

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"witnessmark/audit"
)

// Filter chooses readings; what is empty chooses all.
type Filter struct {
	Engine     string
	Build      string // work order, or number of a build
	Joint      string
	Fastener   string
	Wrench     string
	Verdict    audit.Verdict
	Flag       string
	Technician string    // who started the joint that the reading belongs to
	From       time.Time // included
	To         time.Time // not included
}

// Line is a reading with the mark in force, and what it belongs to.
type Line struct {
	Seq uint64
	At  time.Time
	audit.ReadingTaken
	Mark      audit.Mark
	MarkLeaf  int64  // ledger index of the mark in force
	Engine    string // empty: no joint was on the bench
	WorkOrder string
	Machine   string // the unit that the engine belongs to
	Person    string // who started the joint; empty: nobody, or the name was blanked
}

// Readings hands out the readings that a filter chooses, in the order in which they came, one at a time, which each must
// not keep: whatever their number, few are held. It ends at the first error of each. All are of one moment, whatever is
// written meanwhile.
func (r *Reader) Readings(ctx context.Context, f Filter, each func(*Line) error) error {
	where, args, err := r.chosen(ctx, &f)
	if err != nil {
		return err
	}
	tx, err := r.conn.BeginTx(ctx, pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly})
	if err != nil {
		return fmt.Errorf("read readings: %w", err)
	}
	defer tx.Rollback(context.WithoutCancel(ctx)) // it has nothing to keep
	d, m := emptyRow(audit.ReadingTaken{}.Kind()), emptyRow(audit.Mark{}.Kind())
	columns := qualified("d", d.columns()) + ", " + qualified("m", m.columns())
	if err := declareReadings(ctx, tx, columns, where, args); err != nil {
		return fmt.Errorf("read readings: %w", err)
	}
	var l Line
	targets := append(append(d.targets(), m.targets()...), &l.Engine, &l.WorkOrder, &l.Machine, &l.Person)
	for more := true; more; {
		rows, err := tx.Query(ctx, fmt.Sprintf("FETCH %d FROM reading", fetchRows))
		if err != nil {
			return fmt.Errorf("read readings: %w", err)
		}
		tag, err := pgx.ForEachRow(rows, targets, func() error {
			l.Seq, l.At, l.ReadingTaken = d.Seq, d.At, d.record.Interface().(audit.ReadingTaken)
			l.Mark, l.MarkLeaf = m.record.Interface().(audit.Mark), m.Index
			return each(&l)
		})
		if err != nil {
			return fmt.Errorf("read readings: %w", err)
		}
		more = tag.RowsAffected() == fetchRows
	}
	return nil
}

// declareReadings opens the cursor over the readings with their marks in force.
func declareReadings(ctx context.Context, tx pgx.Tx, columns, where string, args []any) error {
	// Of a cursor the first rows are wanted soon: EXPLAIN shows a merge join along the primary keys of reading and mark, which
	// sorts nothing, where the same query without a cursor is hashed and sorted whole. With runs given it begins with the
	// index mark_run.
	_, err := tx.Exec(ctx, "DECLARE reading NO SCROLL CURSOR FOR SELECT "+columns+`,
		coalesce(b.engine, ''), coalesce(b.work_order, ''), coalesce(b.unit, ''), coalesce(p.name, '')
		FROM witnessmark.reading d
		JOIN witnessmark.mark m ON m.shop = d.shop AND m.reading = d.seq AND NOT EXISTS (
			SELECT FROM witnessmark.mark l WHERE l.shop = m.shop AND l.reading = m.reading AND l.no > m.no)
		LEFT JOIN witnessmark.build b ON b.shop = m.shop AND b.seq = m.build
		LEFT JOIN witnessmark.joint_start s ON s.shop = m.shop AND s.seq = m.run
		LEFT JOIN witnessmark.person p ON p.shop = s.shop AND p.person = s.person AND p.refused = ''
		WHERE d.shop = $1 AND `+where+" ORDER BY d.seq", args...)
	return err
}

// chosen is the filter as a condition, with its arguments; the first is the shop.
func (r *Reader) chosen(ctx context.Context, f *Filter) (string, []any, error) {
	conditions, args := []string{"true"}, []any{r.shop}
	and := func(condition string, arg any) {
		args = append(args, arg)
		conditions = append(conditions, fmt.Sprintf(condition, len(args)))
	}
	if f.Engine != "" || f.Build != "" {
		runs, err := r.runsOf(ctx, f)
		if err != nil {
			return "", nil, err
		}
		and("m.run = ANY($%d)", runs)
	}
	for _, c := range [][2]string{{"m.joint = $%d", f.Joint}, {"m.fastener = $%d", f.Fastener}, {"d.wrench = $%d", f.Wrench},
		{"m.verdict = $%d", string(f.Verdict)}, {"$%d = ANY(m.flags)", f.Flag}, {"p.name = $%d", f.Technician}} {
		if c[1] != "" {
			and(c[0], c[1])
		}
	}
	if !f.From.IsZero() {
		and("d.at >= $%d", f.From)
	}
	if !f.To.IsZero() {
		and("d.at < $%d", f.To)
	}
	return strings.Join(conditions, " AND "), args, nil
}

// runsOf lists the joint runs of an engine, or of a build. One that is not known is an error that says so.
func (r *Reader) runsOf(ctx context.Context, f *Filter) ([]uint64, error) {
	rows, err := r.conn.Query(ctx, `SELECT b.seq, coalesce(s.seq, 0) FROM witnessmark.build b
		LEFT JOIN witnessmark.joint_start s ON s.shop = b.shop AND s.build = b.seq AND s.refused = ''
		WHERE b.shop = $1 AND b.refused = '' AND ($2 = '' OR b.engine = $2) AND ($3 = '' OR b.work_order = $3 OR b.seq::text = $3)`,
		r.shop, f.Engine, f.Build)
	if err != nil {
		return nil, fmt.Errorf("find the joints: %w", err)
	}
	runs := []uint64{}
	var build, run uint64
	_, err = pgx.ForEachRow(rows, []any{&build, &run}, func() error {
		if run != 0 {
			runs = append(runs, run)
		}
		return nil
	})
	switch {
	case err != nil:
		return nil, fmt.Errorf("find the joints: %w", err)
	case build != 0:
		return runs, nil
	case f.Build != "":
		return nil, fmt.Errorf("no build %q of that engine in this shop: give its work order or its number", f.Build)
	}
	return nil, r.unknown(ctx, f.Engine)
}
