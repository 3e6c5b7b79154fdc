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
	All     int64 // readings of the step in the record, second hits and superseded marks included
	Sampled bool  // not all were read, but SampleOf spread evenly over them
	Torques []unit.Torque
	Angles  []unit.Angle
}

// SampleOf is how many readings of a step are read at most. Of so many a percentile in the middle is known to ±2 points,
// one at the 99th to ±0.5 (two standard errors).
const SampleOf = 2000

// Pulled reads the readings of a step up to an instant.
func (r *Reader) Pulled(ctx context.Context, s Step, until time.Time) (*Pulled, error) {
	readings, err := r.stepReadings(ctx, s)
	if err != nil {
		return nil, err
	}
	p := &Pulled{All: int64(len(readings))}
	if len(readings) > SampleOf {
		p.Sampled = true
		for i := range SampleOf {
			readings[i] = readings[i*len(readings)/SampleOf]
		}
		readings = readings[:SampleOf]
	}
	// The newest mark of a reading is in force; an earlier one of another step may have been superseded by it.
	rows, err := r.conn.Query(ctx, `SELECT d.torque, d.angle FROM witnessmark.reading d
		CROSS JOIN LATERAL (SELECT m.stage, m.fastener, m.flags FROM witnessmark.mark m
			WHERE m.shop = d.shop AND m.reading = d.seq AND m.at <= $3 ORDER BY m.no DESC LIMIT 1) f
		WHERE d.shop = $1 AND d.seq = ANY($2) AND f.stage = $4 AND f.fastener = $5 AND NOT f.flags @> ARRAY[$6]`,
		r.shop, readings, until, s.Stage, s.Fastener, audit.ReHit)
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

func (r *Reader) stepReadings(ctx context.Context, s Step) ([]int64, error) {
	rows, err := r.conn.Query(ctx, `SELECT reading FROM witnessmark.mark
		WHERE shop = $1 AND family = $2 AND joint = $3 AND stage = $4 AND fastener = $5 ORDER BY reading`,
		r.shop, s.Family, s.Joint, s.Stage, s.Fastener)
	if err != nil {
		return nil, fmt.Errorf("list the readings of a step: %w", err)
	}
	readings, err := pgx.CollectRows(rows, pgx.RowTo[int64])
	if err != nil {
		return nil, fmt.Errorf("list the readings of a step: %w", err)
	}
	return readings, nil
}
