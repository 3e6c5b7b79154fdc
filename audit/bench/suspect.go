package bench

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/recall"
	"witnessmark/device/unit"
)

// Suspect is what rests at a joint on the readings of a wrench that a calibration found bad.
type Suspect struct {
	Wrench      string
	Certificate string
	Readings    []uint64
	Where       []string // e.g. "stage seat, fastener 3, 4" or "check drag"
}

// Measurement is a check that a reading answers, by its name.
type Measurement struct {
	Check   string
	Reading uint64
}

// Suspects tells what rests on readings in doubt: steps that are done, and checks that are answered, by the newest reading
// that says so. found is the wrench of a reading and the certificate that found it bad, empty: it is not in doubt. Where a
// good wrench has done the step or check again since, nothing is in doubt any more.
func Suspects(steps []StepState, checks []Measurement, found func(reading uint64) (wrench, certificate string)) []Suspect {
	var out []Suspect
	add := func(reading uint64, where string, fastener string) {
		wrench, certificate := found(reading)
		if certificate == "" {
			return
		}
		i := slices.IndexFunc(out, func(s Suspect) bool { return s.Wrench == wrench })
		if i < 0 {
			i = len(out)
			out = append(out, Suspect{Wrench: wrench, Certificate: certificate})
		}
		out[i].add(reading, where, fastener)
	}
	for i := range steps {
		if s := &steps[i]; s.State == Done {
			add(s.passed(), "stage "+s.Stage+", fastener ", s.Fastener)
		}
	}
	for _, c := range checks {
		add(c.Reading, c.Check, "")
	}
	slices.SortStableFunc(out, func(a, b Suspect) int { return cmp.Compare(a.Wrench, b.Wrench) })
	return out
}

func (s *Suspect) add(reading uint64, where, fastener string) {
	s.Readings = append(s.Readings, reading)
	if n := len(s.Where); n > 0 && fastener != "" && strings.HasPrefix(s.Where[n-1], where) {
		s.Where[n-1] += ", " + fastener
		return
	}
	s.Where = append(s.Where, where+fastener)
}

// passed is the newest reading by which a step is done.
func (s *StepState) passed() (reading uint64) {
	for _, m := range s.Marks {
		if m.Verdict == audit.Pass {
			reading = m.Reading
		}
	}
	return reading
}

// String is a sentence.
func (s Suspect) String() string {
	return fmt.Sprintf("wrench %s was found bad by certificate %s, and on its readings rest: %s", s.Wrench, s.Certificate, strings.Join(s.Where, "; "))
}

// reviewWrenches makes a finding of each wrench that a calibration found bad and on whose readings something rests.
func (s *Shop) reviewWrenches(v *reviewer) {
	bad := map[string]recall.Doubt{}
	for _, u := range v.run.used {
		if s.calibrated[u.wrench].FoundBad() {
			bad[u.wrench], _ = s.calibrated[u.wrench].Doubt() // Refusal has read its points
		}
	}
	if len(bad) == 0 {
		return
	}
	found := func(reading uint64) (wrench, certificate string) {
		if i := v.run.taken(reading); i >= 0 {
			t := &v.run.readings[i]
			if d := bad[t.reading.Wrench]; d.Bad(t.at) {
				return t.reading.Wrench, d.Certificate
			}
		}
		return "", ""
	}
	for _, o := range Suspects(v.steps, v.measurements(), found) {
		d := bad[o.Wrench]
		v.add(Finding{ID: "found-bad:" + v.run.joint.ID + "/" + o.Wrench, Subject: WrenchFinding, Text: o.String() + v.turned(&o, &d),
			Settle: "do these again with a wrench that is fit, or concede; witnessmark wrench affected " + o.Wrench + " lists all that it has touched"})
	}
}

// use is that a wrench took readings of a run, the first and the last of them at these times.
type use struct {
	wrench   string
	from, to time.Time
}

func (r *run) uses(wrench string, at time.Time) {
	i := slices.IndexFunc(r.used, func(u use) bool { return u.wrench == wrench })
	if i < 0 {
		r.used = append(r.used, use{wrench, at, at})
		return
	}
	if u := &r.used[i]; at.Before(u.from) { // the clock may have gone back
		u.from = at
	} else if at.After(u.to) {
		u.to = at
	}
}

// InDoubt says in a sentence that a wrench with which a build was tightened was found bad, and nobody has conceded that;
// empty: none was. A build may be released by then.
func (s *Shop) InDoubt(build uint64) string {
	b, n := s.build(build), 0
	for i := range b.revision.parsed.Joints {
		if r := b.newestRun(b.revision.parsed.Joints[i].ID); r != nil && slices.ContainsFunc(r.used, s.mayDoubt) {
			v := reviewer{run: r.unpacked()}
			v.steps = v.run.steps()
			s.reviewWrenches(&v)
			for i := range v.found {
				s.cover(b, &v.found[i])
			}
			if slices.ContainsFunc(v.found, func(f Finding) bool { return f.Blocks }) {
				n++
			}
		}
	}
	return InDoubt(n)
}

// mayDoubt is true where readings between two times may be in doubt: it costs little, and spares most builds the closer look.
func (s *Shop) mayDoubt(u use) bool {
	if !s.calibrated[u.wrench].FoundBad() {
		return false
	}
	d, _ := s.calibrated[u.wrench].Doubt()
	return !u.to.Before(d.From) && (d.To.IsZero() || !u.from.After(d.To))
}

// InDoubt is the sentence about so many joints.
func InDoubt(joints int) string {
	switch joints {
	case 0:
		return ""
	case 1:
		return "1 joint rests on a wrench that was found bad"
	}
	return fmt.Sprintf("%d joints rest on a wrench that was found bad", joints)
}

// measurements are the checks that a reading answers as the procedure wants it.
func (v *reviewer) measurements() []Measurement {
	var out []Measurement
	for i := range v.run.joint.Checks {
		c := &v.run.joint.Checks[i]
		for _, id := range Asked(v.run.joint, c) {
			if a := v.run.answer(c.ID, id); a != nil && a.good {
				out = append(out, Measurement{"check " + checkName(c.ID, id), a.seq})
			}
		}
	}
	return out
}

// turned says which verdicts would be others if the wrench was as it was found; empty where no deviation was recorded.
func (v *reviewer) turned(o *Suspect, d *recall.Doubt) string {
	if d.Found == nil {
		return ""
	}
	order := v.run.order()
	var would []string
	for _, reading := range o.Readings {
		t := &v.run.readings[v.run.taken(reading)]
		step := slices.IndexFunc(v.steps, func(s StepState) bool { return s.Stage == t.mark.Stage && s.Fastener == t.mark.Fastener })
		if step < 0 || t.mark.Stage == "" {
			continue
		}
		p := recall.Pull{Figures: order[step].Figures, Reading: t.reading, Mark: t.mark, Guard: v.run.guard(t, t.gotten())}
		if got, now := recall.Again(p, d.Found); now != t.mark.Verdict {
			would = append(would, fmt.Sprintf("stage %s, fastener %s was %s N·m: %s", t.mark.Stage, t.mark.Fastener, got.In(unit.Nm, 2), now))
		}
	}
	if len(would) == 0 {
		return ". With the deviation found every verdict stays"
	}
	return ". With the deviation found: " + strings.Join(would, "; ")
}
