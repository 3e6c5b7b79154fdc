package past

import (
	"fmt"
	"strconv"
	"strings"

	"witnessmark/audit"
	"witnessmark/audit/judge"
	"witnessmark/audit/procedure"
	"witnessmark/device"
	"witnessmark/device/unit"
)

// bench is one place of work: what lies on it, and how far that has come.
type bench struct {
	name        string
	wrench      audit.WrenchDeclared
	calibration uint64
	counter     int64

	person  string
	kind    *family
	build   uint64
	lot     string
	joint   int // in kind.joints
	run     uint64
	asked   int
	step    int
	again   bool        // the step was let go too early, and is pulled the rest of the way
	rehit   bool        // the step is pulled once more
	doubted *audit.Mark // a person is about to say where that was
}

// next is the next thing that happens at the bench.
func (b *bench) next(s *shop) audit.Outcome {
	if b.build == 0 {
		return b.open(s)
	}
	j := &b.kind.joints[b.joint]
	switch {
	case b.run == 0:
		o := s.outcome(audit.JointStarted{Bench: b.name, Build: b.build, Joint: j.ID, Person: b.person})
		b.run, b.asked, b.step = o.Entry.Seq, 0, 0
		return o
	case b.asked < len(j.Checks):
		return b.answer(s, j.Checks[b.asked].ID)
	case b.doubted != nil:
		return b.locate(s)
	case b.step < len(j.steps):
		return b.pull(s, j)
	}
	o := s.outcome(audit.JointClosed{Bench: b.name, Run: b.run, Person: b.person})
	b.run = 0
	if b.joint++; b.joint == len(b.kind.joints) {
		b.build = 0
	}
	return o
}

func (b *bench) open(s *shop) audit.Outcome {
	kind := s.draw.IntN(len(s.families))
	e := s.anEngine(kind)
	b.kind, b.person, b.joint = s.families[kind], s.people[s.draw.IntN(len(s.people))], 0
	b.lot = fmt.Sprintf("L-%d-%04d", s.at.Year(), s.builds/perLot)
	s.builds++
	o := s.outcome(audit.BuildOpened{Engine: e.serial, Family: b.kind.name, Revision: revision, WorkOrder: fmt.Sprintf("WO-%06d", s.builds), Unit: e.unit, Person: b.person})
	b.build = o.Entry.Seq
	return o
}

func (b *bench) answer(s *shop, check string) audit.Outcome {
	b.asked++
	a := audit.CheckAnswered{Bench: b.name, Run: b.run, Check: check, Yes: true, Person: b.person}
	if check == lotCheck {
		a.Value = b.lot
	}
	return s.outcome(a)
}

// locate is a person's word that the last reading was where it was thought to be.
func (b *bench) locate(s *shop) audit.Outcome {
	m := *b.doubted
	b.doubted = nil
	m.No, m.LocatedBy, m.Confidence = 2, audit.ByPerson, audit.Certain
	o := s.outcome(audit.FastenerNamed{Bench: b.name, Run: b.run, Reading: m.Reading, Fastener: m.Fastener, Person: b.person})
	o.Marks = []audit.Mark{m}
	return o
}

// pull is a reading with its mark: nearly always right, now and then let go too early or pulled once more.
func (b *bench) pull(s *shop, j *joint) audit.Outcome {
	step := &j.steps[b.step]
	r := b.reading(s, step)
	torque := step.Action == procedure.TightenTo
	early := torque && !b.again && !b.rehit && s.draw.IntN(failing) == 0
	if early {
		r.Torque = r.Torque / 100_000 * 85 / 100 * 100_000
	}
	b.write(&r)
	o := s.outcome(audit.ReadingTaken{Bench: b.name, Reading: r})
	s.readings++
	m := b.mark(j, step, &r)
	m.Reading, m.Confidence = o.Entry.Seq, audit.Share(980_000+s.draw.IntN(20_000))
	o.Marks = []audit.Mark{m}
	b.again, b.rehit = early, torque && !early && s.draw.IntN(repeated) == 0
	if !b.again && !b.rehit {
		b.step++
	}
	if s.draw.IntN(named) == 0 {
		b.doubted = &m
	}
	return o
}

// reading draws torque and angle near what the step asks for.
func (b *bench) reading(s *shop, step *procedure.Step) device.Reading {
	b.counter++
	n := b.counter
	r := device.Reading{Wrench: b.wrench.Wrench, Unit: unit.Nm, Direction: device.Tighten, Counter: &n, Profile: "semicolon-xor 1"}
	target, degrees := float64(step.Torque)/1e6, 0.0
	if step.Action == procedure.TightenTo {
		r.Torque = tenths(target * (1.004 + 0.008*s.draw.NormFloat64()))
		degrees = 20 + target/8 + 3*s.draw.NormFloat64()
		if b.again || b.rehit { // it stands nearly there
			degrees = 2 + target/80
		}
	} else {
		middle := float64(step.Torques.Low+step.Torques.High) / 2e6
		r.Torque = tenths(middle * (1 + 0.05*s.draw.NormFloat64()))
		degrees = float64(step.Angle)/float64(unit.Degree) + 0.6 + 1.2*s.draw.NormFloat64()
	}
	a := unit.Angle(max(degrees, 1)*10) * unit.Degree / 10
	r.Angle = &a
	return r
}

// write is the line that the wrench would have sent.
func (b *bench) write(r *device.Reading) {
	r.TorqueText = r.Torque.In(unit.Nm, 1)
	raw := make([]byte, 0, 32)
	raw = append(raw, '#')
	raw = strconv.AppendInt(raw, b.counter, 10)
	raw = append(append(append(raw, ';'), r.TorqueText...), ';')
	raw = append(append(raw, strings.TrimSuffix(r.Angle.String(), "°")...), "\r\n"...)
	r.Raw = raw
}

func (b *bench) mark(j *joint, step *procedure.Step, r *device.Reading) audit.Mark {
	m := audit.Mark{No: 1, Run: b.run, Build: b.build, Joint: j.ID, Stage: j.Stages[step.Stage].ID, Fastener: j.Fasteners[step.Fastener].ID,
		Flags: []string{}, LocatedBy: audit.ByOrder, Family: b.kind.name, Revision: revision, Calibration: b.calibration}
	if b.rehit {
		m.Flags = append(m.Flags, audit.ReHit)
	}
	m.Verdict = judge.Verdict(judge.Pull{Figures: step.Figures, Reading: r, NeedsAngle: j.Criticality == procedure.ClassA})
	if half, known := judge.Uncertain(b.wrench, r.Torque); known && step.Action == procedure.TightenTo {
		p, conditional := judge.Conformity(step.Torques, r.Torque, half)
		m.Conformity = &p
		if conditional && m.Verdict == audit.Pass {
			m.Flags = append(m.Flags, audit.Conditional)
		}
	}
	return m
}
