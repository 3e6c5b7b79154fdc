package store

import (
	"context"
	"fmt"
	"slices"

	"github.com/jackc/pgx/v5"

	"witnessmark/audit"
	"witnessmark/audit/recall"
)

// Found lists how a wrench was found at its calibrations.
func (r *Reader) Found(ctx context.Context, wrench string) ([]audit.CalibrationFound, error) {
	var out []audit.CalibrationFound
	err := r.events(ctx, audit.CalibrationFound{}.Kind(), wrench, func(rec row) {
		out = append(out, rec.record.Interface().(audit.CalibrationFound))
	})
	return out, err
}

// Calibrations is what is known of the calibrations of a wrench.
func (r *Reader) Calibrations(ctx context.Context, wrench string) (*recall.Record, error) {
	out := &recall.Record{}
	err := r.events(ctx, audit.WrenchDeclared{}.Kind(), wrench, func(rec row) {
		out.Declare(rec.At, rec.record.Interface().(audit.WrenchDeclared))
	})
	if err != nil {
		return nil, err
	}
	err = r.events(ctx, audit.CalibrationFound{}.Kind(), wrench, func(rec row) {
		out.Find(rec.At, rec.record.Interface().(audit.CalibrationFound))
	})
	return out, err
}

// found reads the calibrations of those wrenches of a history of which it was said how a calibration found them.
func (r *Reader) found(ctx context.Context, h *History) error {
	rows, err := r.conn.Query(ctx, "SELECT DISTINCT wrench FROM witnessmark.calibration_found WHERE shop = $1 AND wrench = ANY($2) AND refused = ''",
		r.shop, h.wrenches())
	if err != nil {
		return fmt.Errorf("read how wrenches were found: %w", err)
	}
	wrenches, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return fmt.Errorf("read how wrenches were found: %w", err)
	}
	h.Calibrations = map[string]*recall.Record{}
	for _, w := range wrenches {
		if h.Calibrations[w], err = r.Calibrations(ctx, w); err != nil {
			return err
		}
	}
	return nil
}

// wrenches are those that the readings of a history were taken with, each once.
func (h *History) wrenches() []string {
	out := []string{}
	for i := range h.Builds {
		out = append(out, h.Builds[i].wrenches()...)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func (b *BuildHistory) wrenches() []string {
	seen, out := map[string]bool{}, []string{}
	for i := range b.Runs {
		for k := range b.Runs[i].Readings {
			if w := b.Runs[i].Readings[k].Wrench; !seen[w] {
				seen[w], out = true, append(out, w)
			}
		}
	}
	return out
}

// Doubts tells when the wrenches of a history are in doubt, those alone that a calibration found bad.
func (h *History) Doubts() (map[string][]recall.Doubt, error) {
	out := map[string][]recall.Doubt{}
	for wrench, r := range h.Calibrations {
		d, err := r.Doubts()
		if err != nil {
			return nil, fmt.Errorf("how wrench %s was found: %w", wrench, err)
		}
		if d != nil {
			out[wrench] = d
		}
	}
	return out, nil
}
