package daemon

import (
	"context"
	"strings"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
)

// Review implements control.ReleaseDesk.
func (d *Daemon) Review(build uint64) (rv bench.Review, err error) {
	d.live.look(func(s *bench.Shop) { rv, err = s.Review(build) })
	if err != nil {
		return rv, control.Unknown(err.Error())
	}
	return rv, nil
}

// Concede implements control.ReleaseDesk. A crash after a person's entry leaves someone who has done nothing yet.
func (d *Daemon) Concede(ctx context.Context, build uint64, in control.Concede) (bench.Review, error) {
	who, err := named(in.Person)
	if err != nil {
		return bench.Review{}, err
	}
	second := strings.Join(strings.Fields(in.Second), " ")
	d.acting.Lock()
	defer d.acting.Unlock()
	secondID, known := d.person(second)
	event := func(s *bench.Shop, id string) (audit.Event, error) {
		ev := audit.ConcessionGranted{Build: build, Finding: in.Finding, Reason: in.Reason, Person: id, Seconded: secondID}
		if strings.EqualFold(who, second) { // one person, however the name is written
			ev.Seconded = id
		}
		return s.Conceding(ev), nil
	}
	if !known {
		if err := d.introduce(ctx, who, audit.PersonAdded{Person: secondID, Name: second}, event); err != nil {
			return bench.Review{}, err
		}
	}
	if _, err := d.do(ctx, who, event); err != nil {
		return bench.Review{}, err
	}
	return d.Review(build)
}

// introduce records a second person who is new, if the event that names them would take effect.
func (d *Daemon) introduce(ctx context.Context, who string, second audit.PersonAdded, event func(*bench.Shop, string) (audit.Event, error)) error {
	if err := d.live.await(ctx, d.life, d.journal.Last()); err != nil {
		return err
	}
	id, _ := d.person(who)
	if _, err := d.check(event, id); err != nil {
		return err
	}
	return d.record(ctx, second)
}

// Correct implements control.ReleaseDesk.
func (d *Daemon) Correct(ctx context.Context, in control.Correct) (control.Corrected, error) {
	who, err := named(in.Person)
	if err != nil {
		return control.Corrected{}, err
	}
	out, err := d.act(ctx, who, func(s *bench.Shop, id string) (audit.Event, error) {
		ev := audit.CorrectionMade{Build: in.Build, Reading: in.Reading, Fastener: in.Fastener, Stage: in.Stage, Reason: in.Reason, Person: id}
		if in.Joint != "" {
			return s.Adopting(ev, in.Joint)
		}
		return s.Correcting(ev), nil
	})
	if err != nil {
		return control.Corrected{}, err
	}
	return control.Corrected{Build: out.Entry.Event.(audit.CorrectionMade).Build, Marks: append([]audit.Mark{}, out.Marks...)}, nil
}

// Release implements control.ReleaseDesk. It signs the newest checkpoint that is in the database, which must hold all of
// the build; it waits a little for a writer that is about to catch up.
func (d *Daemon) Release(ctx context.Context, build uint64, in control.Release) (bench.Review, error) {
	who, err := named(in.Person)
	if err != nil {
		return bench.Review{}, err
	}
	rv, err := d.Review(build)
	if err != nil {
		return rv, err
	}
	d.writer.await(ctx, rv.Last)
	_, err = d.act(ctx, who, func(s *bench.Shop, id string) (audit.Event, error) {
		at := d.writer.reach()
		ev := audit.BuildReleased{Build: build, Reviewed: in.Reviewed, Recorded: at.position,
			Size: at.checkpoint.Size, Root: at.checkpoint.Root[:], Person: id}
		if ev.Reviewed == 0 {
			ev.Reviewed = s.Seq()
		}
		return ev, nil
	})
	if err != nil {
		return bench.Review{}, err
	}
	return d.Review(build)
}

// Reopen implements control.ReleaseDesk.
func (d *Daemon) Reopen(ctx context.Context, build uint64, in control.Reopen) (bench.Review, error) {
	who, err := named(in.Person)
	if err != nil {
		return bench.Review{}, err
	}
	_, err = d.act(ctx, who, func(_ *bench.Shop, id string) (audit.Event, error) {
		return audit.BuildReopened{Build: build, Reason: in.Reason, Person: id}, nil
	})
	if err != nil {
		return bench.Review{}, err
	}
	return d.Review(build)
}

// catchUp is how long a release waits for the writer.
const catchUp = 5 * time.Second

// await waits until entry seq is in the database, but no longer than ctx or catchUp, and not while it is in trouble.
func (w *writer) await(ctx context.Context, seq uint64) {
	ctx, cancel := context.WithTimeout(ctx, catchUp)
	defer cancel()
	for {
		at, moved := w.look()
		if at.position >= seq || at.trouble != nil && at.trouble != errNotYet {
			return
		}
		select {
		case <-moved:
		case <-ctx.Done():
			return
		}
	}
}
