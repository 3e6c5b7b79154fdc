package bench

import (
	"slices"
	"strings"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/adapter"
	"witnessmark/audit/judge"
	"witnessmark/audit/match"
	"witnessmark/audit/procedure"
	"witnessmark/device"
	"witnessmark/device/unit"
)

// run is one joint, from its beginning with slack fasteners. Taken up again it gets another number.
type run struct {
	seq       uint64 // of the newest start
	build     *Build
	procedure *procedure.Procedure
	joint     *procedure.Joint
	matcher   *follower // nil where the joint is complete and on no bench, or was released since it was on one
	readings  []taken
	answers   []said
	drag      []unit.Torque // by fastener: what it takes to run down; nil: none was told
	resumed   bool          // seq is not the run that it began with
	renewals  []Renewal
	before    []int  // by fastener: torque cycles that its bolt had when the joint was begun
	first     uint64 // entry of its first start
	until     uint64 // its newest reading
	used      []use
}

// taken is a reading of the run with what is said of it.
type taken struct {
	seq      uint64
	at       time.Time
	reading  device.Reading
	wrench   []string              // flags that come from the wrench
	declared *audit.WrenchDeclared // as it was then
	fit      *adapter.Adapter      // between wrench and fastener, as the bench said then; nil: nothing
	mark     audit.Mark            // in force
	check    *gauged               // the check that it measures, nil: none
	fixed    bool                  // a person said the step: nothing that the matcher finds later changes the mark
}

func newRun(seq uint64, b *Build, ev audit.JointStarted) *run {
	p := b.revision.parsed
	j, _ := p.Joint(ev.Joint)
	return &run{seq: seq, first: seq, build: b, procedure: p, joint: j, matcher: newFollower(p, j), before: make([]int, len(j.Fasteners))}
}

// take matches and judges a reading. The first mark is its own; the others supersede earlier ones.
func (r *run) take(e audit.Entry, rd device.Reading, w declared, o match.Observation) []audit.Mark {
	return r.book(e, rd, w, o, nil)
}

// book takes a reading that may measure a check.
func (r *run) book(e audit.Entry, rd device.Reading, w declared, o match.Observation, g *gauged) []audit.Mark {
	f := r.matcher.Observe(o)
	rd.Raw = nil // it is in the journal
	t := taken{seq: e.Seq, at: e.At, reading: rd, wrench: judge.WrenchFlags(*w.WrenchDeclared, &rd, e.At, w.pulls), declared: w.WrenchDeclared, fit: w.fit, check: g}
	t.mark = audit.Mark{Reading: e.Seq, Run: r.seq, Build: r.build.ID, Joint: r.joint.ID,
		Family: r.build.Family, Revision: r.build.Revision, Calibration: w.seq}
	r.say(&t, f)
	r.uses(rd.Wrench, e.At)
	r.readings, r.until = append(r.readings, t), e.Seq
	marks := []audit.Mark{t.mark}
	if r.matcher.Rethought() {
		marks = r.restate(marks)
	}
	return marks
}

// say puts a finding into the mark of a reading, as the next one of its kind.
func (r *run) say(t *taken, f match.Finding) {
	m := &t.mark
	m.No++
	m.Stage, m.Fastener, m.CheckID = "", "", ""
	m.Adapter, m.Applied, m.Conformity = "", 0, nil
	if t.check != nil {
		through(m, t.fit, t.reading.Torque)
		t.measures(t.check)
		return
	}
	stage, figures := -1, &procedure.Figures{}
	if f.Step >= 0 {
		s := &r.order()[f.Step]
		stage, figures = s.Stage, &s.Figures
		m.Stage, m.Fastener = r.joint.Stages[s.Stage].ID, r.joint.Fasteners[s.Fastener].ID
	}
	a, other := r.adapterAt(stage, t.fit)
	through(m, a, t.reading.Torque)
	conditional := conform(m, figures, t)
	m.Verdict, m.Confidence, m.LocatedBy = f.Verdict, f.Confidence, f.LocatedBy
	m.Flags = findingFlags(f)
	if other {
		m.Flags = append(m.Flags, audit.OtherAdapter)
	}
	m.Flags = append(m.Flags, t.wrench...)
	if conditional {
		m.Flags = append(m.Flags, audit.Conditional)
	}
}

// unsureBelow is the confidence under which a person is asked which fastener it was.
const unsureBelow audit.Share = 800_000

func findingFlags(f match.Finding) []string {
	flags := []string{}
	if f.OutOfOrder {
		flags = append(flags, audit.OutOfOrder)
	}
	if f.Kind == match.ReHit {
		flags = append(flags, audit.ReHit)
	}
	if f.Kind == match.Stray || f.Kind == match.Loosened {
		flags = append(flags, audit.Unexpected)
	}
	if f.Confidence < unsureBelow {
		flags = append(flags, audit.Unsure)
	}
	return flags
}

// restate appends a superseding mark for every reading of which something else is held now than was said.
func (r *run) restate(marks []audit.Mark) []audit.Mark {
	for i, f := range r.matcher.Findings() {
		t := &r.readings[i]
		if t.fixed {
			continue
		}
		before := t.mark
		r.say(t, f)
		if sameFinding(&before, &t.mark) || r.gone(&before, &t.mark) {
			t.mark = before
			continue
		}
		marks = append(marks, t.mark)
	}
	return marks
}

// sameFinding compares what matters to a person; a confidence that merely moved is not said again.
func sameFinding(a, b *audit.Mark) bool {
	return a.Stage == b.Stage && a.Fastener == b.Fastener && a.CheckID == b.CheckID && a.Verdict == b.Verdict && a.LocatedBy == b.LocatedBy &&
		slices.Equal(a.Flags, b.Flags) && sameConformity(a.Conformity, b.Conformity)
}

// gone is true of a mark of a bolt that was renewed since, said again of the same step: its limits went with the bolt.
func (r *run) gone(before, now *audit.Mark) bool {
	return before.Reading < r.renewed(before.Fastener) && before.Stage == now.Stage && before.Fastener == now.Fastener && before.Verdict == now.Verdict
}

// sameConformity is false where the limits moved that a torque is held against.
func sameConformity(a, b *int64) bool {
	if a == nil || b == nil {
		return a == b
	}
	return *a == *b
}

func (r *run) name(ev audit.FastenerNamed) []audit.Mark {
	i := r.taken(ev.Reading)
	r.unmeasure(&r.readings[i])
	r.readings[i].fixed = false
	r.matcher.Name(i, named(ev.Fastener))
	return r.restate(nil)
}

// taken is the index of a reading of this run by its entry, -1: not of this run.
func (r *run) taken(seq uint64) int {
	return slices.IndexFunc(r.readings, func(t taken) bool { return t.seq == seq })
}

func (r *run) fastener(id string) int {
	return slices.IndexFunc(r.joint.Fasteners, func(f procedure.Fastener) bool { return f.ID == id })
}

func (r *run) check(id string) *procedure.Check {
	for i := range r.joint.Checks {
		if r.joint.Checks[i].ID == id {
			return &r.joint.Checks[i]
		}
	}
	return nil
}

func (r *run) checkIDs() string {
	ids := make([]string, 0, len(r.joint.Checks))
	for _, c := range r.joint.Checks {
		ids = append(ids, c.ID)
	}
	return strings.Join(ids, ", ")
}

func (r *run) marks() []audit.Mark { return inForce(r.readings) }
