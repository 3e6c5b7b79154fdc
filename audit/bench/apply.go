package bench

import (
	"witnessmark/audit"
	"witnessmark/audit/procedure"
)

// Apply takes the next entry into the state and returns what it led to. It never fails: an entry that cannot take
// effect (a person's action that was overtaken) changes nothing, and Outcome.Refused says why.
func (s *Shop) Apply(e audit.Entry) audit.Outcome {
	out := audit.Outcome{Entry: e}
	s.seq = e.Seq
	b := s.concerned(e.Event)
	if b != nil && !b.lies(e.Event) && s.takeOut(b) {
		defer s.tidy()
	}
	if err := s.overtaken(e.Event); err != nil {
		out.Refused = err.Error()
		return out
	}
	if b != nil {
		b.last = e.Seq
	}
	switch ev := e.Event.(type) {
	case audit.ProcedureAdded:
		s.addProcedure(ev, false)
	case audit.PersonAdded:
		s.people = append(s.people, ev)
	case audit.WrenchDeclared:
		s.declare(e, ev)
	case audit.CalibrationFound:
		s.calibrations(ev.Wrench).Find(e.At, ev)
		s.recount(ev.Wrench)
	case audit.BuildOpened:
		r := s.revision(ev.Family, ev.Revision)
		r.used = true
		b := &Build{ID: e.Seq, BuildOpened: ev, revision: r, last: e.Seq, closed: map[string]*closed{}}
		s.builds, s.held = append(s.builds, b), append(s.held, b)
		s.brought(b)
		s.tidy()
	case audit.JointStarted:
		s.start(e.Seq, ev)
	case audit.JointClosed:
		out.Marks = s.close(ev.Bench)
		s.tidy()
	case audit.CheckAnswered:
		r := s.runs[ev.Bench]
		r.answers = append(r.answers, said{e.Seq, ev})
		if r.prevail(ev.Check, ev.Fastener) {
			out.Marks = r.restate(nil)
		}
	case audit.FastenerNamed:
		out.Marks = s.runs[ev.Bench].name(ev)
	case audit.BoltReplaced:
		s.runs[ev.Bench].renew(e.Seq, ev.Fastener)
	case audit.HandedOver:
		s.place(ev.Bench).handOver(ev.Person)
	case audit.ConcessionGranted:
		b := s.build(ev.Build)
		b.conceded = append(b.conceded, granted{e.Seq, ev})
	case audit.CorrectionMade:
		out.Marks = s.correct(ev)
	case audit.BuildReleased:
		s.release(s.build(ev.Build))
	case audit.BuildReopened:
		s.reopen(s.build(ev.Build))
	case audit.BadgeGiven:
		s.giveBadge(ev)
	case audit.RolesGiven:
		s.roles[ev.Person] = ev.Roles
	case audit.TokenGiven:
		s.giveToken(ev)
	case audit.AdapterFitted:
		s.fit(ev)
	case audit.KeyChanged:
		s.signing = ev.NewKey
	case audit.LossAccepted:
		s.losses = append(s.losses, ev)
	case audit.LabelScanned:
		s.scan(ev)
	case audit.PersonForgotten:
		s.forget(ev)
	case audit.ReadingTaken:
		out.Marks = s.reading(e, ev)
	}
	return out
}

func (s *Shop) addProcedure(ev audit.ProcedureAdded, used bool) {
	p, _ := procedure.Parse(ev.Family, []byte(ev.Text)) // Refusal has parsed it once
	s.procedures = append(s.procedures, &revision{ev, p, used})
}

// reading makes the mark of a reading, and those that it supersedes.
func (s *Shop) reading(e audit.Entry, ev audit.ReadingTaken) []audit.Mark {
	s.heard[ev.Wrench] = &ev.Reading
	w := s.pulled(ev.Wrench)
	w.fit = s.fits[ev.Bench].of(ev.Wrench)
	if r := s.runs[ev.Bench]; r != nil {
		o := observation(e, &ev.Reading, w, r.procedure)
		o.Scanned = s.place(ev.Bench).located(&ev.Reading)
		return r.receive(e, ev.Reading, w, o)
	}
	m := audit.Mark{Reading: e.Seq, No: 1, Verdict: audit.NotJudged, Flags: []string{audit.Unexpected}, Confidence: audit.Certain, Calibration: w.seq}
	through(&m, w.fit, ev.Torque)
	s.keep(e, ev, w, m)
	return []audit.Mark{m}
}
