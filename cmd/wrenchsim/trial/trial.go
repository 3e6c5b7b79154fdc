// Package trial makes labelled runs of one joint on simulated bolts, with the slips of a working day put in, and holds
// what the bench finds against what really happened.
//
// A run is made by physics of its own (package sim): the matching never sees the numbers that it is made from, only the
// readings. The technician of a run is blind: no page tells them of a slip, so that a slip runs its course.
package trial

import (
	"math/rand/v2"

	"witnessmark/audit/procedure"
	"witnessmark/device"
)

// Label is what a reading really was.
type Label struct {
	Step  int  // index into the joint's sequence, -1: nothing of this joint
	Again bool // the fastener had been pulled at this step before, and had passed
	Slip  bool // the pull is the slip that the run is named after
	// Shadow is true where equal fasteners hide the position: after the slip, until its stage is over.
	Shadow bool
	// Good is true of a pull that its true step would pass.
	Good bool
	// Watched is true of a pull that tells of the run's Way.
	Watched bool
}

// Run is one joint from its first pull to its last.
type Run struct {
	Slip      Slip
	Way       Way
	Text      string // of the procedure
	Procedure *procedure.Procedure
	Joint     *procedure.Joint
	Readings  []device.Reading
	Acts      []Act
	Labels    []Label
	Open      []bool // by step: really not done at the end; a verification never is
	// Knowable is true where physics leaves a trace of the slip: see knowable.
	Knowable bool

	made *made
}

// Incomplete is true where a step is really open at the end.
func (r *Run) Incomplete() bool {
	for _, open := range r.Open {
		if open {
			return true
		}
	}
	return false
}

// Make makes one run in a world with a slip; the same source gives the same run. The slip is left out, and the run is
// Clean, where the joint that was drawn has no room for it.
func Make(w World, s Slip, source *rand.Rand) *Run {
	d := w.joint(source)
	j := &d.procedure.Joints[0]
	t := &technician{world: w, source: source, joint: j, steps: j.Sequence(), slip: s, reach: d.reach}
	t.begin()
	t.work()
	return &Run{Slip: t.slip, Way: t.way, Text: d.text, Procedure: d.procedure, Joint: j, Readings: t.readings, Acts: t.acts, Labels: t.labels,
		Open: t.open(), Knowable: t.knowable && !t.hidden, made: t.made()}
}
