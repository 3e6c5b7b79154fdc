package demo

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/cmd/wrenchsim/sim"
)

// Played is what really happened at a reading.
type Played struct {
	Seq   uint64 // the reading's journal entry
	Truth sim.Truth
	Check string // that it measures
}

// Stage is where the story is told: the daemon's control socket, its live updates of the bench, and the audience.
type Stage struct {
	Scene   *Scene
	Client  *control.Client
	Updates <-chan control.Update
	Say     func(string)          // what the technician does
	Show    func(control.Update)  // what the technician sees
	Pause   func(context.Context) // between two acts
}

// Engine is the serial of the nth engine of the demonstration.
func Engine(n int) string { return "TB42-" + strconv.Itoa(firstUnit+n) }

// Prepare brings in the procedure, clears the bench of what an interrupted demonstration left, opens a build for the
// next engine and puts the joint on the bench. It returns the engine's serial.
func (s *Stage) Prepare(ctx context.Context) (engine string, err error) {
	if _, err := s.Client.AddProcedure(ctx, control.NewProcedure{File: "demo procedure", Text: procedureText}); err != nil {
		return "", err
	}
	v, err := s.Client.View(ctx, benchID)
	if err != nil {
		return "", err
	}
	if v.Run != 0 {
		s.Say(fmt.Sprintf("The bench still holds engine %s from last time; its joint is closed as it stands.", v.Engine))
		if _, err := s.Client.CloseJoint(ctx, benchID, control.Close{Person: Technician}); err != nil {
			return "", err
		}
	}
	builds, err := s.Client.Builds(ctx)
	if err != nil {
		return "", err
	}
	engine = Engine(len(builds))
	b, err := s.Client.OpenBuild(ctx, control.NewBuild{Engine: engine, Family: family, Revision: revision,
		WorkOrder: fmt.Sprintf("WO-%d", 2201+len(builds)), Unit: "Grain dryer, drive unit", Person: Technician})
	if err != nil {
		return "", err
	}
	_, err = s.Client.StartJoint(ctx, benchID, control.Start{Build: b.ID, Joint: joint, Person: Technician})
	return engine, err
}

// Play tells the story and closes the joint.
func (s *Stage) Play(ctx context.Context) ([]Played, error) {
	var played []Played
	for _, a := range story() {
		s.Pause(ctx)
		if a.say != "" {
			s.Say(a.say)
		}
		p, err := s.do(ctx, a)
		if err != nil {
			return played, err
		}
		if p != nil {
			played = append(played, *p)
		}
	}
	_, err := s.Client.CloseJoint(ctx, benchID, control.Close{Person: Technician})
	return played, err
}

func (s *Stage) do(ctx context.Context, a act) (*Played, error) {
	switch {
	case a.check != "":
		_, err := s.Client.Answer(ctx, benchID, control.Answer{Check: a.check, Yes: a.value == "", Value: a.value, Person: Technician})
		if err != nil {
			return nil, err
		}
		_, err = s.see(ctx, audit.CheckAnswered{}.Kind())
		return nil, err
	case a.name != "":
		if _, err := s.Client.Name(ctx, benchID, control.Name{Fastener: a.name, Person: Technician}); err != nil {
			return nil, err
		}
		_, err := s.see(ctx, audit.FastenerNamed{}.Kind())
		return nil, err
	}
	p, err := s.pull(ctx, *a.pull)
	if err != nil {
		return nil, err
	}
	p.Check = a.meets
	return p, nil
}

func (s *Stage) pull(ctx context.Context, step sim.Step) (*Played, error) {
	p, truth, err := s.Scene.floor.Pull(step, s.Scene.gauges[step.Wrench])
	if err != nil {
		return nil, err
	}
	r, err := s.Scene.wrenches[step.Wrench].Take(p, "")
	if err != nil {
		return nil, err
	}
	if err := s.Scene.wrenches[step.Wrench].Send(ctx, r); err != nil {
		return nil, fmt.Errorf("wrench %s waits for its acknowledgement: %w", step.Wrench, err)
	}
	u, err := s.see(ctx, audit.ReadingTaken{}.Kind())
	if err != nil {
		return nil, err
	}
	truth.Reading = r
	return &Played{Seq: u.View.Last.Seq, Truth: truth}, nil
}

// see waits for the update of the given kind and shows it.
func (s *Stage) see(ctx context.Context, kind string) (control.Update, error) {
	for {
		select {
		case u, ok := <-s.Updates:
			if !ok {
				return u, errors.New("the daemon closed the watch")
			}
			if u.Kind == kind {
				s.Show(u)
				return u, nil
			}
		case <-ctx.Done():
			return control.Update{}, ctx.Err()
		}
	}
}

// Surprises compares the marks in force, by the entry of their reading, with what really happened. Nothing is returned
// where all was as expected.
func Surprises(played []Played, inForce map[uint64]audit.Mark) []string {
	var out []string
	for _, p := range played {
		m, ok := inForce[p.Seq]
		if why := surprise(p, m); why != "" || !ok {
			out = append(out, fmt.Sprintf("reading %d was fastener %s at stage %s (%s) but %s: %s %s, %s %v", p.Seq,
				p.Truth.Fastener, p.Truth.Stage, p.Truth.Hit, why, m.Stage, m.Fastener, m.Verdict, m.Flags))
		}
	}
	return out
}

func surprise(p Played, m audit.Mark) string {
	switch t := p.Truth; {
	case m.CheckID != p.Check:
		return "was taken for the check \"" + m.CheckID + "\""
	case p.Check != "":
		return ""
	case t.Hit == sim.Nowhere && m.Verdict != audit.NotJudged:
		return "a stray reading was taken for a step"
	case t.Hit == sim.Nowhere:
		return ""
	case m.Fastener != t.Fastener || m.Stage != t.Stage:
		return "was found elsewhere"
	case t.Hit == sim.Low && m.Verdict != audit.LowTorque:
		return "the low torque was not found"
	case t.Hit == sim.ReHit && !slices.Contains(m.Flags, audit.ReHit):
		return "the second hit was not found"
	case t.Hit == sim.Fresh && m.Verdict != audit.Pass:
		return "it did not pass"
	}
	return ""
}
