package bench

import (
	"witnessmark/audit"
	"witnessmark/audit/procedure"
)

// Apply takes the next entry into the state and returns what it led to. It never refuses with an error: an entry that cannot
// take effect (a person's action that was overtaken) changes nothing, and Outcome.Refused says why. It panics with the error of
// the Shelf where a build that was put away cannot be read; the shop is of no use then and must be made anew from its entries.
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
	switch e.Event.(type) {
	case audit.BenchEvent:
		out.Marks = s.atBench(e)
	case audit.BuildEvent:
		out.Marks = s.ofBuild(e)
	default:
		s.ofShop(e)
	}
	return out
}

// atBench takes in what happened at a bench, and gives the marks that it led to.
func (s *Shop) atBench(e audit.Entry) []audit.Mark {
	switch ev := e.Event.(type) {
	case audit.JointStarted:
		s.start(e.Seq, ev)
	case audit.JointClosed:
		defer s.tidy()
		return s.close(ev.Bench)
	case audit.CheckAnswered:
		r := s.runs[ev.Bench]
		r.answers = append(r.answers, said{e.Seq, ev})
		if r.prevail(ev.Check, ev.Fastener) {
			return r.restate(nil)
		}
	case audit.FastenerNamed:
		return s.runs[ev.Bench].name(ev)
	case audit.BoltReplaced:
		s.runs[ev.Bench].renew(e.Seq, ev.Fastener)
	case audit.HandedOver:
		s.place(ev.Bench).handOver(ev.Person)
	case audit.AdapterFitted:
		s.fit(ev)
	case audit.LabelScanned:
		s.scan(ev)
	case audit.ReadingTaken:
		return s.reading(e, ev)
	case audit.FrameRefused: // nothing is known of it
	}
	return nil
}

// ofBuild takes in what was decided of a build, and gives the marks that it led to.
func (s *Shop) ofBuild(e audit.Entry) []audit.Mark {
	switch ev := e.Event.(type) {
	case audit.ConcessionGranted:
		b := s.build(ev.Build)
		b.conceded = append(b.conceded, granted{e.Seq, ev})
	case audit.CorrectionMade:
		return s.correct(ev)
	case audit.BuildReleased:
		s.release(s.build(ev.Build))
	case audit.BuildReopened:
		s.reopen(s.build(ev.Build))
	}
	return nil
}

// ofShop takes in what the whole shop is told: its people, procedures, wrenches and builds.
func (s *Shop) ofShop(e audit.Entry) {
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
		s.open(e.Seq, ev)
	case audit.BadgeGiven:
		s.giveBadge(ev)
	case audit.RolesGiven:
		s.roles[ev.Person] = ev.Roles
	case audit.TokenGiven:
		s.giveToken(ev)
	case audit.KeyChanged:
		s.signing = ev.NewKey
	case audit.LossAccepted:
		s.losses = append(s.losses, ev)
	case audit.PersonForgotten:
		s.forget(ev)
	case audit.ClockSet: // the order of entries hangs on no clock
	}
}

func (s *Shop) open(seq uint64, ev audit.BuildOpened) {
	r := s.revision(ev.Family, ev.Revision)
	r.used = true
	b := &Build{ID: seq, BuildOpened: ev, revision: r, last: seq, closed: map[string]*closed{}}
	s.builds, s.held = append(s.builds, b), append(s.held, b)
	s.brought(b)
	s.tidy()
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
