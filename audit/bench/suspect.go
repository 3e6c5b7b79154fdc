package bench

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"witnessmark/audit"
	"witnessmark/audit/recall"
	"witnessmark/device/unit"
)

// Suspect is what rests at a joint on the readings of a wrench that one calibration found bad.
type Suspect struct {
	Wrench   string
	Doubt    *recall.Doubt
	Readings []uint64
	Where    []string // e.g. "stage seat, fastener 3, 4" or "check drag"
}

// Measurement is a check that a reading answers, by its name.
type Measurement struct {
	Check   string
	Reading uint64
}

// Suspects tells what rests on readings in doubt: steps that were done or have failed, and checks that are answered. found is
// the wrench of a reading and the doubt that it is in, nil: none.
func Suspects(steps []StepState, checks []Measurement, found func(reading uint64) (wrench string, d *recall.Doubt)) []Suspect {
	var out []Suspect
	add := func(reading uint64, where string, fastener string) {
		wrench, d := found(reading)
		if d == nil {
			return
		}
		i := slices.IndexFunc(out, func(s Suspect) bool { return s.Wrench == wrench && s.Doubt.Certificate == d.Certificate })
		if i < 0 {
			i = len(out)
			out = append(out, Suspect{Wrench: wrench, Doubt: d})
		}
		out[i].add(reading, where, fastener)
	}
	for i := range steps {
		s := &steps[i]
		for _, reading := range s.resting(loosened(steps, s.Fastener), found) {
			add(reading, "stage "+s.Stage+", fastener ", s.Fastener)
		}
	}
	for _, c := range checks {
		add(c.Reading, c.Check, "")
	}
	slices.SortStableFunc(out, func(a, b Suspect) int {
		return cmp.Or(cmp.Compare(a.Wrench, b.Wrench), a.Doubt.At.Compare(b.Doubt.At))
	})
	return out
}

func (s *Suspect) add(reading uint64, where, fastener string) {
	s.Readings = append(s.Readings, reading)
	last := len(s.Where) - 1
	switch {
	case last < 0 || fastener == "" || !strings.HasPrefix(s.Where[last], where):
		s.Where = append(s.Where, where+fastener)
	case !strings.HasSuffix(s.Where[last], " "+fastener):
		s.Where[last] += ", " + fastener
	}
}

// resting are the readings in doubt that a step rests on since its fastener was last loosened: the newest one by which it is
// done or has failed. A later pass of a wrench that is not in doubt settles one that may have been too weak; one that may have
// been too strong is mended by loosening alone.
func (s *StepState) resting(since uint64, found func(reading uint64) (string, *recall.Doubt)) []uint64 {
	var newest, strong uint64
	for _, m := range s.Marks {
		if m.Reading <= since || s.State == Open || s.State == Done && m.Verdict != audit.Pass {
			continue
		}
		newest = m.Reading
		if _, d := found(m.Reading); d != nil && d.ShowsTooLittle() {
			strong = m.Reading
		}
	}
	if _, d := found(newest); newest != 0 && d != nil {
		return []uint64{newest}
	}
	if strong != 0 {
		return []uint64{strong}
	}
	return nil
}

// loosened is the newest reading that turned a fastener back where no stage asks for it, 0: none did.
func loosened(steps []StepState, fastener string) (last uint64) {
	for i := range steps {
		for k := range steps[i].Marks {
			if m := &steps[i].Marks[k]; m.Fastener == fastener && turnedBack(m) {
				last = max(last, m.Reading)
			}
		}
	}
	return last
}

// ID names the finding about it; it stays the same while it is about the same certificate.
func (s *Suspect) ID(joint string) string {
	return "found-bad:" + joint + "/" + s.Wrench + "/" + strings.Join(strings.Fields(s.Doubt.Certificate), "-")
}

// String is a sentence.
func (s Suspect) String() string {
	off := ""
	if s.Doubt.Found != nil {
		off = " (" + s.Doubt.Found.String() + ")"
	}
	return fmt.Sprintf("wrench %s was found bad by certificate %s%s, in doubt %s, and on its readings, %d in all, rest: %s",
		s.Wrench, s.Doubt.Certificate, off, s.Doubt.Span, len(s.Readings), strings.Join(s.Where, "; "))
}

// reviewWrenches makes a finding of each wrench that a calibration found bad and on whose readings something rests.
func (s *Shop) reviewWrenches(v *reviewer) {
	bad := map[string][]recall.Doubt{}
	for _, u := range v.run.used {
		if d, _ := s.calibrated[u.wrench].Doubts(); d != nil { // Refusal has read its points
			bad[u.wrench] = d
		}
	}
	if len(bad) == 0 {
		return
	}
	found := func(reading uint64) (wrench string, d *recall.Doubt) {
		i := v.run.taken(reading)
		if i < 0 {
			return "", nil
		}
		t := &v.run.readings[i]
		return t.reading.Wrench, recall.Of(bad[t.reading.Wrench], t.at)
	}
	for _, o := range Suspects(v.steps, v.measurements(), found) {
		turned := v.turned(&o)
		f := Finding{ID: o.ID(v.run.joint.ID), Subject: WrenchFound, Readings: len(o.Readings), Turn: len(turned), Text: o.String() + ". " + would(o.Doubt, turned),
			Settle: settleFound + o.Wrench + " lists all that it has touched"}
		if o.Doubt.Found != nil && len(turned) == 0 {
			f.Subject = WrenchFinding
		}
		v.add(f)
	}
}

const settleFound = "tighten these again with a wrench that is fit (a joint that is complete is begun anew), record the finding anew where it was wrong, or concede; witnessmark wrench affected "

// measurements are the checks that a reading answers as the procedure wants it.
func (v *reviewer) measurements() []Measurement {
	var out []Measurement
	for i := range v.run.joint.Checks {
		c := &v.run.joint.Checks[i]
		for _, id := range Asked(v.run.joint, c) {
			if a := v.run.answer(c.ID, id); a != nil && a.good {
				out = append(out, Measurement{"check " + CheckName(c.ID, id), a.seq})
			}
		}
	}
	return out
}

// turned says which verdicts would be others if the wrench was as it was found.
func (v *reviewer) turned(o *Suspect) (would []string) {
	if o.Doubt.Found == nil {
		return nil
	}
	order := v.run.order()
	for _, reading := range o.Readings {
		t := &v.run.readings[v.run.taken(reading)]
		step := slices.IndexFunc(v.steps, func(s StepState) bool { return s.Stage == t.mark.Stage && s.Fastener == t.mark.Fastener })
		if step < 0 || t.mark.Stage == "" {
			continue
		}
		p := recall.Pull{Figures: order[step].Figures, Reading: t.reading, Mark: t.mark, Guard: v.run.guard(t, t.gotten())}
		if got, now := recall.Again(p, o.Doubt.Found); now != t.mark.Verdict {
			would = append(would, fmt.Sprintf("stage %s, fastener %s was %s N·m: %s", t.mark.Stage, t.mark.Fastener, got.In(unit.Nm, 2), now))
		}
	}
	return would
}

// turnedShown is how many verdicts that would turn a sentence names.
const turnedShown = 5

// would says what follows from the deviation that was found.
func would(d *recall.Doubt, turned []string) string {
	switch n := len(turned); {
	case d.Found == nil:
		return "No deviation is recorded to judge them again with"
	case n == 0:
		return "With the deviation found every verdict stays"
	case n == 1:
		return "With the deviation found 1 verdict would turn: " + turned[0]
	case n > turnedShown:
		return fmt.Sprintf("With the deviation found %d verdicts would turn: %s; and %d more", n, strings.Join(turned[:turnedShown], "; "), n-turnedShown)
	default:
		return fmt.Sprintf("With the deviation found %d verdicts would turn: %s", n, strings.Join(turned, "; "))
	}
}
