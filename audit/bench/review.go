package bench

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"witnessmark/audit"
	"witnessmark/audit/procedure"
)

// Standing says whether a build is released.
type Standing string

// The standings of a build.
const (
	UnderWay Standing = "under way"
	Released Standing = "released"
	Reopened Standing = "reopened" // was released, and is worked on again
)

// Review is what stands between a build and its release, the worst first. What blocks nothing comes last.
type Review struct {
	Build     uint64    `json:"build"`
	Engine    string    `json:"engine"`
	WorkOrder string    `json:"work_order"`
	Standing  Standing  `json:"standing"`
	Seq       uint64    `json:"seq"`  // the last entry that it takes into account
	Last      uint64    `json:"last"` // the last one that was about this build
	Findings  []Finding `json:"findings"`
}

// Blocking are the findings that stand in the way.
func (r *Review) Blocking() []Finding {
	return slices.DeleteFunc(slices.Clone(r.Findings), func(f Finding) bool { return !f.Blocks })
}

// Review looks through every joint of the build's procedure. Where a joint was worked on more than once, the newest run
// counts. A build that does not exist is an error.
func (s *Shop) Review(build uint64) (Review, error) {
	b := s.build(build)
	if b == nil {
		return Review{}, unknown("no build %d: ask for the list of builds", build)
	}
	b = s.whole(b)
	r := Review{Build: b.ID, Engine: b.Engine, WorkOrder: b.WorkOrder, Standing: b.Standing(), Seq: s.seq, Last: b.last, Findings: []Finding{}}
	for i := range b.revision.parsed.Joints {
		r.Findings = append(r.Findings, s.reviewJoint(b, &b.revision.parsed.Joints[i])...)
	}
	for i := range r.Findings {
		s.cover(b, &r.Findings[i])
	}
	slices.SortStableFunc(r.Findings, func(x, y Finding) int {
		if x.Blocks != y.Blocks {
			return cmp.Compare(strconv.FormatBool(y.Blocks), strconv.FormatBool(x.Blocks))
		}
		return cmp.Compare(x.Subject.Rank(), y.Subject.Rank())
	})
	return r, nil
}

// cover puts the newest concession that fits into a finding.
func (s *Shop) cover(b *Build, f *Finding) {
	for i := range b.conceded {
		c := &b.conceded[i]
		if c.Finding == f.ID && c.Found == f.Text {
			f.Blocks = false
			f.Conceded = &Conceded{c.seq, c.Reason, s.PersonName(c.Person), s.PersonName(c.Seconded)}
		}
	}
}

// reviewJoint collects the findings about one joint, in the order of its steps, checks and readings.
func (s *Shop) reviewJoint(b *Build, j *procedure.Joint) []Finding {
	r := b.newestRun(j.ID)
	if r == nil {
		return []Finding{{ID: "joint:" + j.ID, Subject: JointOpen, Joint: j.ID, Text: fmt.Sprintf("joint %s was never started", j.ID),
			Settle: "tighten it, or concede if it was not loosened", Blocks: true, Second: j.Criticality == procedure.ClassA}}
	}
	v := reviewer{run: r}
	v.steps = v.run.steps()
	for _, earlier := range b.runs {
		if earlier != r && earlier.joint.ID == j.ID && earlier.until != 0 {
			v.add(Finding{ID: "anew:" + strconv.FormatUint(earlier.seq, 10), Subject: Note,
				Text: fmt.Sprintf("begun anew after run %d, which is in the history and counts no longer", earlier.seq)})
		}
	}
	if at := s.BenchOf(r.seq); at != "" {
		v.add(Finding{ID: "bench:" + j.ID, Subject: JointOnBench, Text: "still on bench " + at, Settle: "close it"})
	}
	v.reviewSteps()
	v.reviewChecks()
	v.reviewBolts()
	for i := range v.run.readings {
		v.reviewReading(&v.run.readings[i])
	}
	s.reviewWrenches(&v)
	return v.found
}

// reviewer goes through one run.
type reviewer struct {
	run   *run
	steps []StepState
	found []Finding
}

// add completes a finding. Its text goes on from the joint.
func (v *reviewer) add(f Finding) {
	f.Joint, f.Blocks = v.run.joint.ID, f.Subject != Note
	f.Second = v.run.joint.Criticality == procedure.ClassA
	f.Text = "joint " + f.Joint + ", " + f.Text
	v.found = append(v.found, f)
}

func (v *reviewer) reviewSteps() {
	missed := map[string][]string{}
	if v.run.matcher != nil {
		for _, o := range slices.Concat(v.run.openStages(v.steps, false), v.run.openStages(v.steps, true)) {
			missed[o.Stage] = o.Candidates
		}
	}
	for _, st := range v.steps {
		f := Finding{ID: fmt.Sprintf("step:%s/%s/%s", v.run.joint.ID, st.Stage, st.Fastener), Stage: st.Stage, Fastener: st.Fastener}
		f.Text = fmt.Sprintf("stage %s, fastener %s: ", st.Stage, st.Fastener)
		switch st.State {
		case Failed:
			last, how := st.failed(), ", not made good"
			f.Subject, f.Settle = StepFailed, "do the step again until it passes, correct the reading, or concede"
			if st.Verify {
				how, f.Settle = " at the verification", afterVerification+"; correct the reading if it was another one, or concede"
			}
			f.Text += fmt.Sprintf("%s with reading %d%s", last.Verdict, last.Reading, how)
			v.add(f)
		case Open:
			f.Subject, f.Text, f.Settle = StepOpen, f.Text+"not done", "do the step, correct a reading that was this one, or concede"
			if c := missed[st.Stage]; len(c) > 0 {
				f.Settle += "; which one was missed is not known, it may be any of " + strings.Join(c, ", ")
			}
			v.add(f)
		}
	}
	for _, o := range v.run.doubted(v.steps) {
		v.add(Finding{ID: strings.TrimSuffix("doubt:"+v.run.joint.ID+"/"+o.Stage, "/"), Subject: StepDoubted, Stage: o.Stage, Text: doubt(&o),
			Settle: "check them, correct the readings that are in doubt, or concede"})
	}
}

func (v *reviewer) reviewChecks() {
	j := v.run.joint
	for i := range j.Checks {
		c := &j.Checks[i]
		for _, id := range Asked(j, c) {
			a := v.run.answer(c.ID, id)
			if a != nil && a.good {
				continue
			}
			f := Finding{ID: "check:" + j.ID + "/" + c.ID, Subject: CheckOpen, Fastener: id, Check: c.ID,
				Text: "check " + CheckName(c.ID, id) + " is not answered", Settle: "answer it, or concede"}
			if id != "" {
				f.ID += "/" + id
			}
			if a != nil {
				f.Subject, f.Settle = CheckRefused, "put it right and answer again, or concede"
				f.Text = fmt.Sprintf("check %s: %s, wanted %s", CheckName(c.ID, id), a.text, Wanted(c))
			}
			v.add(f)
		}
	}
}

func (v *reviewer) reviewBolts() {
	for _, b := range v.run.bolts() {
		if why := b.wornOut(); why != "" {
			v.add(Finding{ID: "bolt:" + v.run.joint.ID + "/" + b.Fastener, Subject: BoltWorn, Fastener: b.Fastener,
				Text: fmt.Sprintf("fastener %s: %s", b.Fastener, why), Settle: "fit a new one and say so, or concede"})
		}
	}
}

// reviewReading makes a finding of each flag, but for those that a person's word on the reading explains.
func (v *reviewer) reviewReading(t *taken) {
	m := &t.mark
	odd := m.Odd()
	for _, flag := range m.Flags {
		f := Finding{ID: strings.ReplaceAll(flag, " ", "-") + ":" + strconv.FormatUint(t.seq, 10), Stage: m.Stage, Fastener: m.Fastener,
			Reading: t.seq, Subject: MarkFlagged, Settle: "correct the reading if it was elsewhere, or concede"}
		switch {
		case flag == audit.Conditional, flag == audit.Resent:
			f.Subject, f.Settle = Note, ""
		case !slices.Contains(odd, flag):
			continue
		case flag == audit.Unsure:
			f.Subject, f.Settle = MarkUnsure, "say which fastener it was, or concede"
		case flag == audit.OutOfCalibration, flag == audit.OutOfRange:
			f.Subject, f.Settle = WrenchFinding, "do the step again with a wrench that is fit, or concede"
		}
		where := "no step"
		switch {
		case m.CheckID != "":
			where = "check " + CheckName(m.CheckID, m.Fastener)
		case m.Fastener != "":
			where = fmt.Sprintf("stage %s, fastener %s", m.Stage, m.Fastener)
		}
		f.Text = fmt.Sprintf("reading %d (%s, %s): %s", t.seq, shown(&t.reading), where, flag)
		v.add(f)
	}
}
