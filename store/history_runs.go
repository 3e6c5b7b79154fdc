package store

import (
	"context"
	"fmt"
	"maps"
	"slices"

	"github.com/jackc/pgx/v5"

	"witnessmark/audit"
)

// runs reads what belongs to builds in one query a table: with a query a run, the round trips cost more than the rows.
func (r *Reader) runs(ctx context.Context, builds []BuildHistory) error {
	ids, at := make([]uint64, len(builds)), make(map[uint64]*BuildHistory, len(builds))
	for i := range builds {
		ids[i], at[builds[i].ID] = builds[i].ID, &builds[i]
	}
	rows, err := r.conn.Query(ctx, `SELECT s.build, s.seq, s.bench, s.joint, coalesce(p.name, ''), s.at, c.at, s.afresh, s.continues
		FROM witnessmark.joint_start s
		LEFT JOIN witnessmark.joint_close c ON c.shop = s.shop AND c.run = s.seq AND c.refused = ''
		LEFT JOIN witnessmark.person p ON p.shop = s.shop AND p.person = s.person AND p.refused = ''
		WHERE s.shop = $1 AND s.build = ANY($2) AND s.refused = '' ORDER BY s.seq`, r.shop, ids)
	if err != nil {
		return fmt.Errorf("read joints: %w", err)
	}
	var build uint64
	var run RunHistory
	_, err = pgx.ForEachRow(rows, []any{&build, &run.ID, &run.Bench, &run.Joint, &run.Technician, &run.Started, &run.Closed, &run.Afresh, &run.Continues}, func() error {
		at[build].Runs = append(at[build].Runs, run)
		return nil
	})
	if err != nil {
		return fmt.Errorf("read joints: %w", err)
	}
	return r.fill(ctx, runsOf(builds))
}

// runSet is runs by their ids.
type runSet struct {
	ids []uint64
	at  map[uint64]*RunHistory
}

func runsOf(builds []BuildHistory) runSet {
	set := runSet{at: map[uint64]*RunHistory{}}
	for i := range builds {
		for j := range builds[i].Runs {
			run := &builds[i].Runs[j]
			set.ids, set.at[run.ID] = append(set.ids, run.ID), run
		}
	}
	return set
}

func (r *Reader) fill(ctx context.Context, runs runSet) error {
	for _, read := range []func(context.Context, runSet) error{r.readings, r.answers, r.scans, r.renewals, r.words, r.hands, r.clock} {
		if err := read(ctx, runs); err != nil {
			return err
		}
	}
	return nil
}

func (r *Reader) readings(ctx context.Context, runs runSet) error {
	rd, m := emptyRow(audit.ReadingTaken{}.Kind()), emptyRow(audit.Mark{}.Kind())
	sql := "SELECT " + qualified("d", rd.columns()) + ", " + qualified("m", m.columns()) + ` FROM witnessmark.mark m
		JOIN witnessmark.reading d ON d.shop = m.shop AND d.seq = m.reading
		WHERE m.shop = $1 AND m.run = ANY($2) ORDER BY m.reading, m.no`
	rows, err := r.conn.Query(ctx, sql, r.shop, runs.ids)
	if err != nil {
		return fmt.Errorf("read readings: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		rd, m := emptyRow(rd.kind), emptyRow(m.kind)
		if err := rows.Scan(append(rd.targets(), m.targets()...)...); err != nil {
			return fmt.Errorf("read readings: %w", err)
		}
		runs.at[m.record.Interface().(audit.Mark).Run].add(rd, m)
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("read readings: %w", err)
	}
	return r.adopted(ctx, runs)
}

// adopted reads what was said of readings before they came into a run: they came while no joint was on the bench.
func (r *Reader) adopted(ctx context.Context, runs runSet) error {
	at := map[uint64]*ReadingHistory{}
	for _, run := range runs.at {
		for i := range run.Readings {
			if rd := &run.Readings[i]; rd.Marks[0].No > 1 {
				at[rd.Seq] = rd
			}
		}
	}
	if len(at) == 0 {
		return nil
	}
	e := emptyRow(audit.Mark{}.Kind())
	rows, err := r.conn.Query(ctx, "SELECT "+qualified("m", e.columns())+` FROM witnessmark.mark m
		WHERE m.shop = $1 AND m.reading = ANY($2) AND m.run = 0 ORDER BY m.reading, m.no DESC`, r.shop, slices.Collect(maps.Keys(at)))
	if err != nil {
		return fmt.Errorf("read earlier marks: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		m := emptyRow(e.kind)
		if err := rows.Scan(m.targets()...); err != nil {
			return fmt.Errorf("read earlier marks: %w", err)
		}
		mark := m.record.Interface().(audit.Mark)
		at[mark.Reading].Marks = slices.Insert(at[mark.Reading].Marks, 0, MarkHistory{m.Seq, m.At, m.Index, mark})
	}
	return rows.Err()
}

func (run *RunHistory) add(rd, m row) {
	n := len(run.Readings)
	if n == 0 || run.Readings[n-1].Seq != rd.Seq {
		run.Readings = append(run.Readings, ReadingHistory{Seq: rd.Seq, At: rd.At, Index: rd.Index,
			ReadingTaken: rd.record.Interface().(audit.ReadingTaken)})
		n++
	}
	last := &run.Readings[n-1]
	last.Marks = append(last.Marks, MarkHistory{m.Seq, m.At, m.Index, m.record.Interface().(audit.Mark)})
}
