package daemon

import (
	"context"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/audit/recall"
	"witnessmark/cmd/witnessmark/internal/control"
)

// RecordFinding implements control.RecordDesk.
func (d *Daemon) RecordFinding(ctx context.Context, in control.Finding) (control.Recorded, error) {
	by, err := named(in.Person)
	if err != nil {
		return control.Recorded{}, err
	}
	ev := audit.CalibrationFound{Wrench: in.Wrench, Certificate: in.Certificate, Found: in.Found.UTC(), Good: in.Good, Adjusted: in.Adjusted}
	if in.Points != "" {
		points, err := recall.Parse(in.Points)
		if err != nil {
			return control.Recorded{}, control.Malformed(err.Error())
		}
		ev.Points = points.String()
	}
	out, err := d.act(ctx, by, func(_ *bench.Shop, id string) (audit.Event, error) {
		ev.Person = id
		return ev, nil
	})
	return control.Recorded{Entry: out.Entry.Seq}, err
}

// Forget implements control.RecordDesk. The name is blanked in the database when the writer has come to this entry.
func (d *Daemon) Forget(ctx context.Context, in control.Forget) (control.Recorded, error) {
	by, err := named(in.Person)
	if err != nil {
		return control.Recorded{}, err
	}
	ev := audit.PersonForgotten{Reason: in.Reason}
	out, err := d.act(ctx, by, func(s *bench.Shop, id string) (audit.Event, error) {
		ev.By, ev.Person = id, in.Who
		if found, ok := s.Person(in.Who); ok {
			ev.Person = found
		}
		return ev, nil
	})
	return control.Recorded{Entry: out.Entry.Seq, Person: ev.Person}, err
}
