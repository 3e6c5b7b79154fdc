package bench

import (
	"cmp"
	"fmt"
	"slices"

	"witnessmark/audit"
	"witnessmark/audit/adapter"
	"witnessmark/audit/judge"
	"witnessmark/audit/match"
	"witnessmark/audit/procedure"
	"witnessmark/device"
	"witnessmark/device/unit"
)

// gauged is a reading that measures a check.
type gauged struct {
	check    *procedure.Check
	fastener string // empty: of the joint as a whole
	verdict  audit.Verdict
	share    audit.Share // see confidence
	by       audit.LocatedBy
}

// receive takes a reading, which measures a check where one waits for it.
func (r *run) receive(e audit.Entry, rd device.Reading, w declared, o match.Observation) []audit.Mark {
	g := r.gauge(&rd, &o, w.fit)
	if g != nil {
		o.Named = match.NotHere // the matcher keeps its place in the count, and takes it for no tightening
	}
	marks := r.book(e, rd, w, o, g)
	if g != nil && r.prevail(g.check.ID, g.fastener) {
		marks = r.restate(marks)
	}
	return marks
}

// gauge tells what a reading measures, nil: nothing. Inside the range of the check that waits it is the answer, unless it
// is as right for the step that is due; outside the range it is the answer where it is nearer to it than to every step of
// the joint. A pull that loosens answers no check.
func (r *run) gauge(rd *device.Reading, o *match.Observation, fitted *adapter.Adapter) *gauged {
	told, by := r.told(o)
	c, f := r.waiting(told)
	if c == nil || rd.Direction == device.Loosen || inAngle(c) && rd.Angle == nil {
		return nil
	}
	got := *rd
	got.Torque = o.Torque // at the fastener
	off := outside(valueOf(c, &got), c.Accept.Low, c.Accept.High)
	step := r.nearest(rd, fitted)
	rival := step
	if off == 0 {
		rival = r.awayFromDue(rd, fitted)
	}
	if off >= rival {
		return nil
	}
	v := judge.Verdict(judge.Pull{Figures: figuresOf(c), Reading: &got, Guard: o.Guard, Unfit: o.Unfit})
	return &gauged{c, f, v, confidence(off, step), cmp.Or(by, audit.ByOrder)}
}

// told is the fastener that a label or the wrench's tag names before a reading; empty: none of this joint.
func (r *run) told(o *match.Observation) (fastener string, by audit.LocatedBy) {
	switch {
	case r.fastener(o.Scanned) >= 0:
		return o.Scanned, audit.ByScan
	case r.fastener(o.Tag) >= 0:
		return o.Tag, audit.ByTag
	}
	return "", ""
}

// waiting is the check by wrench whose moment has come: the first without an answer, else the first whose answer is not
// accepted, which may be measured again. nil: none waits. Where a fastener was told, only a check of that one.
func (r *run) waiting(told string) (c *procedure.Check, fastener string) {
	if !slices.ContainsFunc(r.joint.Checks, func(k procedure.Check) bool { return k.ByWrench }) {
		return nil, ""
	}
	steps := r.steps()
	for i := range r.joint.Checks {
		k := &r.joint.Checks[i]
		if !k.ByWrench || !due(k, steps) {
			continue
		}
		for _, f := range Asked(r.joint, k) {
			if told != "" && told != f {
				continue
			}
			switch a := r.answer(k.ID, f); {
			case a == nil:
				return k, f
			case !a.good && c == nil:
				c, fastener = k, f
			}
		}
	}
	return c, fastener
}

// figuresOf is what a check asks of a reading.
func figuresOf(c *procedure.Check) procedure.Figures {
	if inAngle(c) {
		return procedure.Figures{Action: procedure.TurnBy, Angles: procedure.AngleWindow{
			Low: unit.Angle(c.Accept.Low), High: unit.Angle(c.Accept.High), Set: true}}
	}
	return procedure.Figures{Action: procedure.Verify, Torques: procedure.TorqueWindow{
		Low: unit.Torque(c.Accept.Low), High: unit.Torque(c.Accept.High), Set: true}}
}

// Distances are in millionths of the limit that a value lies beyond. far stands for what cannot be compared.
const far int64 = 1_000_000

func outside(v, low, high int64) int64 {
	const most = 1_000_000 * int64(unit.NewtonMetre) // nothing that is measured is more, and the product stays small
	v = min(v, most)
	switch {
	case v < low:
		return (low - v) * far / low
	case v > high:
		return (v - high) * far / max(high, 1)
	}
	return 0
}

// away is the distance of a reading from the window of a step.
func away(f *procedure.Figures, rd *device.Reading) int64 {
	var d int64
	if f.Torques.Set {
		d = outside(int64(rd.Torque), int64(f.Torques.Low), int64(f.Torques.High))
	}
	switch {
	case f.Action == procedure.LoosenBy || f.Action == procedure.TurnBy && rd.Angle == nil:
		return max(d, far)
	case f.Action == procedure.TurnBy:
		return max(d, outside(int64(*rd.Angle), int64(f.Angles.Low), int64(f.Angles.High)))
	}
	return d
}

// awayFrom is the distance from a step, by the torque that its fastener would have got.
func (r *run) awayFrom(step int, rd *device.Reading, fitted *adapter.Adapter) int64 {
	s, got := &r.matcher.Steps()[step], *rd
	if a, _ := r.adapterAt(s.Stage, fitted); a != nil {
		got.Torque = a.Applied(rd.Torque)
	}
	return away(&s.Figures, &got)
}

func (r *run) awayFromDue(rd *device.Reading, fitted *adapter.Adapter) int64 {
	_, due := r.matcher.Open()
	if due < 0 {
		return 2 * far
	}
	return r.awayFrom(due, rd, fitted)
}

// nearest is the least distance from any step of the joint, done or not.
func (r *run) nearest(rd *device.Reading, fitted *adapter.Adapter) int64 {
	d := 2 * far
	for i := range r.matcher.Steps() {
		d = min(d, r.awayFrom(i, rd, fitted))
	}
	return d
}

// confidence that a reading is a check and no step, by its distances from both. It is a share of the distances and no
// posterior: what people measure besides tightening has no statistics here.
func confidence(off, step int64) audit.Share {
	const near = 10_000 // both within a hundredth tells nothing
	return audit.Share((step + near) * int64(audit.Certain) / (step + off + 2*near))
}

// measures puts what a check found into the mark of a reading.
func (t *taken) measures(g *gauged) {
	m := &t.mark
	m.CheckID, m.Fastener = g.check.ID, g.fastener
	m.Verdict, m.Confidence, m.LocatedBy = g.verdict, g.share, g.by
	m.Flags = []string{}
	if g.share < unsureBelow {
		m.Flags = append(m.Flags, audit.Unsure)
	}
	m.Flags = append(m.Flags, t.wrench...)
	f := figuresOf(g.check)
	if conform(m, &f, t) {
		m.Flags = append(m.Flags, audit.Conditional)
	}
}

// measured says in a sentence what a reading says of its check.
func (r *run) measured(t *taken) string {
	c, name := t.check.check, CheckName(t.mark.CheckID, t.mark.Fastener)
	if t.mark.Verdict == audit.Pass {
		return fmt.Sprintf("Check %s: %s is good.", name, Shown(c, &t.mark, &t.reading))
	}
	return fmt.Sprintf("Check %s: %s: %s, wanted %s. Measure it again, or see what the procedure says.", name, Shown(c, &t.mark, &t.reading), t.mark.Verdict, Wanted(c))
}
