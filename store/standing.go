package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"witnessmark/audit"
	"witnessmark/device/unit"
)

// Step is one fastener in one stage, in all builds of a family.
type Step struct{ Family, Joint, Stage, Fastener string }

// Pulled is what the readings of a step were, over all builds of the family and all its revisions: of each reading whose
// mark in force names the step, second hits left out.
type Pulled struct {
	All     int           // readings of the step in the record, those included that were later found to be of another
	Sampled bool          // not all were read, but SampleOf spread evenly over them
	Torques []unit.Torque // at the fastener
	Angles  []unit.Angle
}

// SampleOf is how many readings of a step are read at most. Of so many a percentile in the middle is known to ±3 points,
// one at the 99th to ±0.6 (two standard errors). Each may be a page of the disk: 1000 are read in 50 ms, all are not.
const SampleOf = 1000

// Pulled reads the readings of a step as they were known at an instant.
func (r *Reader) Pulled(ctx context.Context, s Step, until time.Time) (*Pulled, error) {
	said, err := r.saidOf(ctx, s, until)
	if err != nil {
		return nil, err
	}
	p := &Pulled{All: len(said), Sampled: len(said) > SampleOf}
	if p.Sampled {
		for i := range SampleOf {
			said[i] = said[i*len(said)/SampleOf]
		}
		said = said[:SampleOf]
	}
	readings, nos := make([]int64, len(said)), make([]int64, len(said))
	for i, m := range said {
		readings[i], nos[i] = m.reading, m.no
	}
	torques, marks, err := r.gotten(ctx, s.Family)
	if err != nil {
		return nil, err
	}
	rows, err := r.conn.Query(ctx, "SELECT "+torques+`, d.angle FROM unnest($2::bigint[], $3::bigint[]) s (reading, no)
		JOIN witnessmark.reading d ON d.shop = $1 AND d.seq = s.reading`+marks+`
		WHERE NOT EXISTS (SELECT FROM witnessmark.mark m WHERE m.shop = $1 AND m.reading = s.reading AND m.no > s.no AND m.at <= $4)`,
		r.shop, readings, nos, until)
	if err != nil {
		return nil, fmt.Errorf("read the readings of a step: %w", err)
	}
	var torque unit.Torque
	var angle *unit.Angle
	_, err = pgx.ForEachRow(rows, []any{&torque, &angle}, func() error {
		p.Torques = append(p.Torques, torque)
		if angle != nil {
			p.Angles = append(p.Angles, *angle)
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read the readings of a step: %w", err)
	}
	return p, nil
}

// gotten is the torque at the fastener as SQL, with the table that it needs. Where no adapter can have been on, that is none: the
// marks lie on as many pages of the disk again as the readings.
func (r *Reader) gotten(ctx context.Context, family string) (torque, table string, err error) {
	var adapters bool
	err = r.conn.QueryRow(ctx, `SELECT EXISTS (SELECT FROM witnessmark.adapter WHERE shop = $1)
		OR EXISTS (SELECT FROM witnessmark.procedure WHERE shop = $1 AND family = $2 AND text LIKE '%adapter%')`, r.shop, family).Scan(&adapters)
	if err != nil {
		return "", "", fmt.Errorf("ask for adapters: %w", err)
	}
	if !adapters {
		return "d.torque", "", nil
	}
	return "CASE WHEN f.applied <> 0 THEN f.applied ELSE d.torque END",
		" JOIN witnessmark.mark f ON f.shop = $1 AND f.reading = s.reading AND f.no = s.no", nil
}

// said is a mark by its number.
type said struct{ reading, no int64 }

// saidOf lists the marks that name a step.
func (r *Reader) saidOf(ctx context.Context, s Step, until time.Time) ([]said, error) {
	rows, err := r.conn.Query(ctx, `SELECT reading, no FROM witnessmark.mark
		WHERE shop = $1 AND family = $2 AND joint = $3 AND stage = $4 AND fastener = $5 AND at <= $6 AND NOT flags @> '{`+audit.ReHit+`}'
		ORDER BY reading, no`, r.shop, s.Family, s.Joint, s.Stage, s.Fastener, until)
	if err != nil {
		return nil, fmt.Errorf("list the readings of a step: %w", err)
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (m said, err error) {
		err = row.Scan(&m.reading, &m.no)
		return m, err
	})
	if err != nil {
		return nil, fmt.Errorf("list the readings of a step: %w", err)
	}
	return list, nil
}
