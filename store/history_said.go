package store

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"witnessmark/audit"
	"witnessmark/device/label"
)

func (r *Reader) answers(ctx context.Context, runs runSet) error {
	a := emptyRow(audit.CheckAnswered{}.Kind())
	sql := "SELECT " + qualified("a", a.columns()) + `, coalesce(p.name, '') FROM witnessmark.check_answer a
		LEFT JOIN witnessmark.person p ON p.shop = a.shop AND p.person = a.person AND p.refused = ''
		WHERE a.shop = $1 AND a.run = ANY($2) AND a.refused = '' ORDER BY a.seq`
	err := r.named(ctx, a.kind, sql, func(a row, name string) {
		c := a.record.Interface().(audit.CheckAnswered)
		runs.at[c.Run].Answers = append(runs.at[c.Run].Answers, AnswerHistory{a.At, a.Index, name, c})
	}, r.shop, runs.ids)
	if err != nil {
		return fmt.Errorf("read answers: %w", err)
	}
	return nil
}

func (r *Reader) scans(ctx context.Context, runs runSet) error {
	l := emptyRow(audit.LabelScanned{}.Kind())
	sql := "SELECT " + qualified("l", l.columns()) + `, coalesce(p.name, '') FROM witnessmark.scan l
		LEFT JOIN witnessmark.person p ON p.shop = l.shop AND p.person = l.person AND p.refused = ''
		WHERE l.shop = $1 AND l.run = ANY($2) AND l.run <> 0 AND l.label = $3 AND l.refused = '' ORDER BY l.seq`
	err := r.named(ctx, l.kind, sql, func(l row, name string) {
		s := l.record.Interface().(audit.LabelScanned)
		runs.at[s.Run].Scans = append(runs.at[s.Run].Scans, ScanHistory{l.At, l.Index, name, s})
	}, r.shop, runs.ids, label.Fastener)
	if err != nil {
		return fmt.Errorf("read scans: %w", err)
	}
	return nil
}

func (r *Reader) renewals(ctx context.Context, runs runSet) error {
	kind := audit.BoltReplaced{}.Kind()
	record := emptyRow(kind)
	sql := "SELECT " + qualified("b", record.columns()) + `, coalesce(p.name, '') FROM witnessmark.bolt_replaced b
		LEFT JOIN witnessmark.person p ON p.shop = b.shop AND p.person = b.person AND p.refused = ''
		WHERE b.shop = $1 AND b.run = ANY($2) AND b.refused = '' ORDER BY b.seq`
	err := r.named(ctx, kind, sql, func(b row, name string) {
		ev := b.record.Interface().(audit.BoltReplaced)
		runs.at[ev.Run].Renewals = append(runs.at[ev.Run].Renewals, RenewalHistory{b.Seq, b.At, b.Index, name, ev})
	}, r.shop, runs.ids)
	if err != nil {
		return fmt.Errorf("read renewals: %w", err)
	}
	return nil
}

func (r *Reader) hands(ctx context.Context, runs runSet) error {
	rows, err := r.conn.Query(ctx, `SELECT h.seq, h.at, h.ledger_index, h.run, coalesce(p.name, '') FROM (
			SELECT seq, at, ledger_index, run, person FROM witnessmark.hand_over WHERE shop = $1 AND run = ANY($2) AND refused = ''
			UNION ALL SELECT seq, at, ledger_index, run, person FROM witnessmark.scan
			WHERE shop = $1 AND run = ANY($2) AND run <> 0 AND label = $3 AND refused = '') h
		LEFT JOIN witnessmark.person p ON p.shop = $1 AND p.person = h.person AND p.refused = '' ORDER BY h.seq`, r.shop, runs.ids, label.Badge)
	if err != nil {
		return fmt.Errorf("read who took over: %w", err)
	}
	var h HandHistory
	_, err = pgx.ForEachRow(rows, []any{&h.Seq, &h.At, &h.Index, &h.Run, &h.Person}, func() error {
		runs.at[h.Run].Hands = append(runs.at[h.Run].Hands, h)
		return nil
	})
	if err != nil {
		return fmt.Errorf("read who took over: %w", err)
	}
	return nil
}

func (r *Reader) clock(ctx context.Context, runs runSet) error {
	rows, err := r.conn.Query(ctx, `SELECT s.seq, k.at, k.ledger_index, k.by_ms, k.at_least FROM witnessmark.clock_set k
		JOIN witnessmark.joint_start s ON s.shop = k.shop AND s.seq < k.seq AND s.seq = ANY($2)
		LEFT JOIN witnessmark.joint_close c ON c.shop = s.shop AND c.run = s.seq AND c.refused = ''
		WHERE k.shop = $1 AND (c.seq IS NULL OR k.seq < c.seq) ORDER BY k.seq, s.seq`, r.shop, runs.ids)
	if err != nil {
		return fmt.Errorf("read steps of the clock: %w", err)
	}
	var run uint64
	var ms int64
	var k ClockHistory
	_, err = pgx.ForEachRow(rows, []any{&run, &k.At, &k.Index, &ms, &k.AtLeast}, func() error {
		k.By = time.Duration(ms) * time.Millisecond
		runs.at[run].Clock = append(runs.at[run].Clock, k)
		return nil
	})
	if err != nil {
		return fmt.Errorf("read steps of the clock: %w", err)
	}
	return nil
}

// named reads records of a kind, each with the name of a person behind it.
func (r *Reader) named(ctx context.Context, kind, sql string, each func(rec row, name string), args ...any) error {
	rows, err := r.conn.Query(ctx, sql, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		rec, name := emptyRow(kind), ""
		if err := rows.Scan(append(rec.targets(), &name)...); err != nil {
			return err
		}
		each(rec, name)
	}
	return rows.Err()
}

func qualified(alias string, columns []string) string {
	return alias + "." + strings.Join(columns, ", "+alias+".")
}
