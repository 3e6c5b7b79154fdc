package bench

import (
	"fmt"
	"slices"

	"witnessmark/audit"
	"witnessmark/audit/bolt"
	"witnessmark/audit/procedure"
	"witnessmark/device"
	"witnessmark/device/unit"
)

// Clamp is what a fastener is estimated to clamp with. It is for information and no verdict rests on it: friction, which
// nobody measures, and the clamped parts make it an interval.
type Clamp struct {
	bolt.Force       // N
	ProofLoad  int64 // N (ISO 898-1); 0: the class of the bolt is not told
	turned     bool  // partly by an angle, in which the bolt is taken to be elastic
}

// Yields is true where the bolt may be at or beyond its yield point: there the interval ends at the proof load, for the
// elastic estimate holds no longer.
func (c Clamp) Yields() bool { return c.ProofLoad > 0 && c.High >= c.ProofLoad }

// String is the estimate in words, said to be one.
func (c Clamp) String() string {
	switch {
	case c.Yields() && c.Low >= c.ProofLoad:
		return fmt.Sprintf("an estimated %s kN or more, its proof load: it is at or beyond yield", kilonewtons(c.ProofLoad))
	case c.Yields():
		return fmt.Sprintf("an estimated %s to %s kN or more, %d to 100 %% of the proof load: it may be at or beyond yield",
			kilonewtons(c.Low), kilonewtons(c.ProofLoad), c.Low*100/c.ProofLoad)
	}
	text := fmt.Sprintf("an estimated %s to %s kN", kilonewtons(c.Low), kilonewtons(c.High))
	switch {
	case c.ProofLoad > 0:
		text += fmt.Sprintf(", %d to %d %% of the proof load", c.Low*100/c.ProofLoad, c.High*100/c.ProofLoad)
	case c.turned:
		text += ", as long as the bolt is elastic"
	}
	return text
}

func kilonewtons(n int64) string { return fmt.Sprintf("%d.%d", n/1000, n%1000/100) }

// Clamps follows what the fasteners of a joint clamp with, pull by pull: from a torque by the formula of VDI 2230, from an
// angle by what an elastic bolt gains on top.
type Clamps struct {
	procedure *procedure.Procedure
	joint     *procedure.Joint
	renewals  []Renewal // still to come
	now       []Clamp   // by fastener; no force: not known
}

// NewClamps begins with every fastener slack; a new bolt is slack again. The renewals are in the order of their entries.
func NewClamps(p *procedure.Procedure, j *procedure.Joint, renewals []Renewal) *Clamps {
	return &Clamps{p, j, renewals, make([]Clamp, len(j.Fasteners))}
}

func (c *Clamps) fastener(id string) int {
	return slices.IndexFunc(c.joint.Fasteners, func(f procedure.Fastener) bool { return f.ID == id })
}

// Pull takes the next reading of the joint with its mark in force; drag is what its fastener takes to run down, which clamps
// nothing. false: there is nothing to say of it, because it did not pass or the procedure does not tell the bolt.
func (c *Clamps) Pull(m *audit.Mark, rd *device.Reading, drag unit.Torque) (Clamp, bool) {
	for ; len(c.renewals) > 0 && c.renewals[0].Entry < m.Reading; c.renewals = c.renewals[1:] {
		c.now[c.fastener(c.renewals[0].Fastener)] = Clamp{}
	}
	f := c.fastener(m.Fastener)
	s := slices.IndexFunc(c.joint.Stages, func(s procedure.Stage) bool { return s.ID == m.Stage })
	if f < 0 || s < 0 {
		return Clamp{}, false
	}
	kind, now := c.procedure.Types[c.joint.Fasteners[f].Type], &c.now[f]
	thread, err := bolt.ParseThread(kind.Thread)
	if err != nil {
		return Clamp{}, false
	}
	now.ProofLoad, _ = thread.ProofLoad(kind.Class)
	switch action := c.joint.Stages[s].Action; {
	case rd.Direction == device.Loosen:
		now.Force, now.turned = bolt.Force{}, false
	case action == procedure.TightenTo: // a weaker pull than one before moves nothing
		got := thread.FromTorque(max(AtFastener(m, rd)-drag, 0), bolt.FrictionOf(kind.Lubrication))
		now.Low, now.High = max(now.Low, got.Low), max(now.High, got.High)
	case action == procedure.TurnBy && rd.Angle != nil:
		now.turn(thread.FromAngle(*rd.Angle, kind.Length))
	default:
		return Clamp{}, false
	}
	return *now, m.Verdict == audit.Pass && now.High > 0
}

// turn adds what a turn gained. Where that or what there was is not known, the sum is not.
func (c *Clamp) turn(gain bolt.Force) {
	if gain.High == 0 || c.High == 0 {
		c.Force = bolt.Force{}
		return
	}
	c.Low, c.High, c.turned = c.Low+gain.Low, c.High+gain.High, true
}

// AtFastener is the torque of a reading at the fastener.
func AtFastener(m *audit.Mark, rd *device.Reading) unit.Torque {
	if m.Adapter != "" {
		return unit.Torque(m.Applied)
	}
	return rd.Torque
}

// preload says what the newest reading clamps with; empty: nothing is known.
func (r *run) preload() string {
	all, text := NewClamps(r.procedure, r.joint, r.renewals), ""
	for i := range r.readings {
		t := &r.readings[i]
		var drag unit.Torque
		if f := r.fastener(t.mark.Fastener); f >= 0 && r.drag != nil {
			drag = r.drag[f]
		}
		text = ""
		if c, known := all.Pull(&t.mark, &t.reading, drag); known {
			text = c.String()
		}
	}
	return text
}
