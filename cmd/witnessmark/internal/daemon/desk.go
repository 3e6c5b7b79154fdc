package daemon

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/audit/procedure"
	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/store/journal"
)

var _ control.Desk = (*Daemon)(nil)

// act records one event of a person. The order is: everything journaled so far is applied, the event is checked against
// that, journaled, applied. A reading may come in between the check and the journal; then the event is recorded as
// refused, and the person is told so.
func (d *Daemon) act(ctx context.Context, person string, event func(s *bench.Shop, id string) (audit.Event, error)) (audit.Outcome, error) {
	d.acting.Lock()
	defer d.acting.Unlock()
	return d.do(ctx, person, event)
}

// do is act for who holds the lock already.
func (d *Daemon) do(ctx context.Context, person string, event func(s *bench.Shop, id string) (audit.Event, error)) (audit.Outcome, error) {
	if err := d.live.await(ctx, d.life, d.journal.Last()); err != nil {
		return audit.Outcome{}, err
	}
	id, known := d.person(person)
	ev, err := d.check(event, id)
	if err != nil {
		return audit.Outcome{}, err
	}
	// A crash between the two entries leaves a person who has done nothing yet: harmless, the next try finds them.
	if !known {
		if err := d.record(ctx, audit.PersonAdded{Person: id, Name: person}); err != nil {
			return audit.Outcome{}, err
		}
	}
	if err := d.record(ctx, ev); err != nil {
		return audit.Outcome{}, err
	}
	out := d.live.lastAct()
	if out.Refused != "" {
		return out, control.Refuse(out.Refused)
	}
	return out, nil
}

// check makes the event and asks the shop whether it would take effect. An error of event itself is a refusal too.
func (d *Daemon) check(event func(*bench.Shop, string) (audit.Event, error), id string) (ev audit.Event, err error) {
	d.live.look(func(s *bench.Shop) {
		if ev, err = event(s, id); err == nil {
			err = s.Refusal(ev)
		}
	})
	var e *control.Error
	if err != nil && !errors.As(err, &e) {
		err = refusal(err)
	}
	return ev, err
}

// refusal is what the shop refuses as the answer to a request.
func refusal(err error) error {
	var unknown *bench.Unknown
	if errors.As(err, &unknown) {
		return control.Unknown(err.Error())
	}
	return control.Refuse(err.Error())
}

// record journals an event and waits until it was applied.
func (d *Daemon) record(ctx context.Context, ev audit.Event) error {
	e, err := d.journal.Append(ctx, ev)
	if errors.Is(err, journal.ErrNoRoom) {
		return errDiskFull
	}
	if err != nil {
		return fmt.Errorf("journal %s: %w", ev.Kind(), err)
	}
	return d.live.await(ctx, d.life, e.Seq)
}

func (l *live) lastAct() audit.Outcome {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.acted
}

// person finds a person's id by name, or makes one up for a name that is new; no name needs no id.
func (d *Daemon) person(name string) (id string, known bool) {
	if name == "" {
		return "", true
	}
	d.live.look(func(s *bench.Shop) { id, known = s.Person(name) })
	if !known {
		id = d.opt.NewID()
	}
	return id, known
}

// known is person for who holds the lock, with a name that is new recorded.
func (d *Daemon) known(ctx context.Context, name string) (string, error) {
	if err := d.live.await(ctx, d.life, d.journal.Last()); err != nil {
		return "", err
	}
	id, known := d.person(name)
	if known {
		return id, nil
	}
	return id, d.record(ctx, audit.PersonAdded{Person: id, Name: name})
}

func named(person string) (string, error) {
	person = strings.Join(strings.Fields(person), " ")
	if person == "" {
		return "", control.Malformed("say who does this: give a name with --by")
	}
	return person, nil
}

// AddProcedure implements control.Desk. A revision that is there already with the same text is no error.
func (d *Daemon) AddProcedure(ctx context.Context, in control.NewProcedure) (control.Procedure, error) {
	p, err := procedure.Parse(in.File, []byte(in.Text))
	if err != nil {
		return control.Procedure{}, control.Malformed(err.Error())
	}
	ev := audit.ProcedureAdded{Family: p.Family, Revision: p.Revision, Title: p.Title, Text: in.Text}
	var there bool
	_, err = d.act(ctx, "", func(s *bench.Shop, _ string) (audit.Event, error) {
		there = errors.Is(s.Refusal(ev), bench.ErrAlready)
		return ev, nil
	})
	if err != nil && !there {
		return control.Procedure{}, err
	}
	for _, p := range d.Procedures() {
		if p.Family == ev.Family && p.Revision == ev.Revision {
			return p, nil
		}
	}
	return control.Procedure{}, fmt.Errorf("procedure %s revision %s was recorded but is not there", ev.Family, ev.Revision)
}

// OpenBuild implements control.Desk.
func (d *Daemon) OpenBuild(ctx context.Context, in control.NewBuild) (control.Build, error) {
	who, err := named(in.Person)
	if err != nil {
		return control.Build{}, err
	}
	out, err := d.act(ctx, who, func(s *bench.Shop, id string) (audit.Event, error) {
		ev := audit.BuildOpened{Engine: in.Engine, Family: in.Family, Revision: in.Revision,
			WorkOrder: in.WorkOrder, Unit: in.Unit, Person: id}
		if ev.Revision == "" {
			ev.Revision, _ = s.Newest(in.Family)
		}
		return ev, nil
	})
	if err != nil {
		return control.Build{}, err
	}
	return control.Build{ID: out.Entry.Seq, BuildOpened: out.Entry.Event.(audit.BuildOpened), Standing: bench.UnderWay}, nil
}

// StartJoint implements control.Desk.
func (d *Daemon) StartJoint(ctx context.Context, benchID string, in control.Start) (bench.View, error) {
	return d.atBench(ctx, benchID, in.Person, func(s *bench.Shop, id string) (audit.Event, error) {
		return s.Starting(audit.JointStarted{Bench: benchID, Build: in.Build, Joint: in.Joint, Person: id, Afresh: in.Afresh})
	})
}

// CloseJoint implements control.Desk.
func (d *Daemon) CloseJoint(ctx context.Context, benchID string, in control.Close) (bench.View, error) {
	return d.atBench(ctx, benchID, in.Person, func(s *bench.Shop, id string) (audit.Event, error) {
		return audit.JointClosed{Bench: benchID, Run: s.Run(benchID), Person: id}, nil
	})
}

// Answer implements control.Desk.
func (d *Daemon) Answer(ctx context.Context, benchID string, in control.Answer) (bench.View, error) {
	return d.atBench(ctx, benchID, in.Person, func(s *bench.Shop, id string) (audit.Event, error) {
		return audit.CheckAnswered{Bench: benchID, Run: s.Run(benchID), Check: in.Check, Fastener: in.Fastener,
			Yes: in.Yes, Value: in.Value, Person: id}, nil
	})
}

// Name implements control.Desk.
func (d *Daemon) Name(ctx context.Context, benchID string, in control.Name) (bench.View, error) {
	return d.atBench(ctx, benchID, in.Person, func(s *bench.Shop, id string) (audit.Event, error) {
		ev := audit.FastenerNamed{Bench: benchID, Run: s.Run(benchID), Reading: in.Reading, Fastener: in.Fastener, Person: id}
		if ev.Reading == 0 {
			last := s.View(benchID).Last
			if last == nil {
				return nil, control.Refuse(fmt.Sprintf("no reading has come to the joint on bench %s yet: tighten first", benchID))
			}
			ev.Reading = last.Seq
			if err := s.Refusal(ev); err != nil {
				return nil, err
			}
			if ev.Fastener != "" && !s.Fits(benchID, last.Seq, ev.Fastener) {
				return nil, control.Refuse(fmt.Sprintf("the last reading, number %d (%s), fits no stage of fastener %s: if it is the one you mean, say so with --reading %d",
					last.Seq, last.Torque, ev.Fastener, last.Seq))
			}
		}
		return ev, nil
	})
}

// Renew implements control.Desk. Each new bolt is an entry of its own; a crash between two of them leaves the later ones
// unsaid, which the bench goes on to ask for.
func (d *Daemon) Renew(ctx context.Context, benchID string, in control.Renew) (v bench.View, err error) {
	if len(in.Fasteners) == 0 {
		return v, control.Malformed("say which fasteners got a new bolt")
	}
	for i := range in.Fasteners {
		v, err = d.atBench(ctx, benchID, in.Person, func(s *bench.Shop, id string) (ev audit.Event, err error) {
			for k := len(in.Fasteners) - 1; k >= i && err == nil; k-- { // all of them are checked before the first is recorded
				ev = audit.BoltReplaced{Bench: benchID, Run: s.Run(benchID), Fastener: in.Fasteners[k],
					Reason: strings.TrimSpace(in.Reason), Person: id}
				err = s.Refusal(ev)
			}
			return ev, err
		})
		if err != nil {
			return v, err
		}
	}
	return v, nil
}

// atBench acts as the named person, or as the one who is signed in at the bench.
func (d *Daemon) atBench(ctx context.Context, benchID, person string, event func(*bench.Shop, string) (audit.Event, error)) (bench.View, error) {
	if _, err := d.bench(benchID); err != nil {
		return bench.View{}, err
	}
	who := strings.Join(strings.Fields(person), " ")
	_, err := d.act(ctx, who, func(s *bench.Shop, id string) (audit.Event, error) {
		if who == "" {
			id = s.SignedIn(benchID)
		}
		if id == "" {
			return nil, control.Malformed(fmt.Sprintf("nobody is signed in at bench %s: scan your badge there, or give your name with --by", benchID))
		}
		return event(s, id)
	})
	if err != nil {
		return bench.View{}, err
	}
	return d.View(benchID)
}

func (d *Daemon) bench(id string) (config.Bench, error) {
	var ids []string
	for _, b := range d.opt.Config.Benches {
		if b.ID == id {
			return b, nil
		}
		ids = append(ids, b.ID)
	}
	return config.Bench{}, control.Unknown(fmt.Sprintf("no bench %s: this shop has %s", id, strings.Join(ids, ", ")))
}
