package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"witnessmark/audit"
	"witnessmark/audit/bench"
)

// Act is what stands beside a person's doing: its entry, when, its leaf, and the person's name (empty: blanked).
type Act struct {
	Seq   uint64
	At    time.Time
	Index int64
	By    string
}

// NamedHistory is a person's word on which fastener a reading was, said while the joint was on the bench.
type NamedHistory struct {
	Act
	audit.FastenerNamed
}

// ConcessionHistory is a concession.
type ConcessionHistory struct {
	Act
	SecondedBy string // name; empty: blanked, or none was needed
	audit.ConcessionGranted
}

// CorrectionHistory is a correction made after the fact.
type CorrectionHistory struct {
	Act
	audit.CorrectionMade
}

// ReleaseHistory is a signature under the build.
type ReleaseHistory struct {
	Act
	audit.BuildReleased
}

// ReopeningHistory is a release taken back.
type ReopeningHistory struct {
	Act
	audit.BuildReopened
}

// Standing says whether the build is released.
func (b *BuildHistory) Standing() bench.Standing {
	released, reopened := len(b.Releases), len(b.Reopenings)
	switch {
	case released > reopened: // each reopening takes back the release before it
		return bench.Released
	case released > 0:
		return bench.Reopened
	}
	return bench.UnderWay
}

// signed reads the releases of builds and what led to them, in one round trip.
func (r *Reader) signed(ctx context.Context, builds []BuildHistory) error {
	ids, at := make([]uint64, len(builds)), make(map[uint64]*BuildHistory, len(builds))
	for i := range builds {
		ids[i], at[builds[i].ID] = builds[i].ID, &builds[i]
	}
	var b pgx.Batch
	acts(r, &b, "build", "e.seconded", ids, func(a Act, second string, ev audit.ConcessionGranted) {
		at[ev.Build].Concessions = append(at[ev.Build].Concessions, ConcessionHistory{a, second, ev})
	})
	acts(r, &b, "build", "''", ids, func(a Act, _ string, ev audit.CorrectionMade) {
		at[ev.Build].Corrections = append(at[ev.Build].Corrections, CorrectionHistory{a, ev})
	})
	acts(r, &b, "build", "''", ids, func(a Act, _ string, ev audit.BuildReleased) {
		at[ev.Build].Releases = append(at[ev.Build].Releases, ReleaseHistory{a, ev})
	})
	acts(r, &b, "build", "''", ids, func(a Act, _ string, ev audit.BuildReopened) {
		at[ev.Build].Reopenings = append(at[ev.Build].Reopenings, ReopeningHistory{a, ev})
	})
	if err := r.conn.SendBatch(ctx, &b).Close(); err != nil {
		return fmt.Errorf("read releases: %w", err)
	}
	return nil
}

// words reads who named fasteners.
func (r *Reader) words(ctx context.Context, runs runSet) error {
	var b pgx.Batch
	acts(r, &b, "run", "''", runs.ids, func(a Act, _ string, ev audit.FastenerNamed) {
		runs.at[ev.Run].Named = append(runs.at[ev.Run].Named, NamedHistory{a, ev})
	})
	if err := r.conn.SendBatch(ctx, &b).Close(); err != nil {
		return fmt.Errorf("read who named fasteners: %w", err)
	}
	return nil
}

// acts asks for the events of one kind that took effect, by a column of theirs, in order, with the names of their people.
func acts[E audit.Event](r *Reader, b *pgx.Batch, column, second string, ids []uint64, take func(a Act, second string, ev E)) {
	var zero E
	e := emptyRow(zero.Kind())
	sql := "SELECT " + qualified("e", e.columns()) + ", coalesce(p.name, ''), coalesce(q.name, '') FROM witnessmark." + tables[e.kind].name + ` e
		LEFT JOIN witnessmark.person p ON p.shop = e.shop AND p.person = e.person AND p.refused = ''
		LEFT JOIN witnessmark.person q ON q.shop = e.shop AND q.person = ` + second + ` AND q.refused = ''
		WHERE e.shop = $1 AND e.` + column + ` = ANY($2) AND e.refused = '' ORDER BY e.seq`
	b.Queue(sql, r.shop, ids).Query(func(rows pgx.Rows) error {
		for rows.Next() {
			e := emptyRow(e.kind)
			var by, seconded string
			if err := rows.Scan(append(e.targets(), &by, &seconded)...); err != nil {
				return err
			}
			take(Act{e.Seq, e.At, e.Index, by}, seconded, e.record.Interface().(E))
		}
		return rows.Err()
	})
}
