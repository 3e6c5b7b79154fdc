package bench

import "slices"

// count is what a run is held against before it is called complete.
type count struct {
	steps    []StepState
	doubted  []OpenStage
	against  []string // checks that were not accepted and bolts that may not stay, in sentences
	accepted bool     // every check is accepted, and every bolt may stay
}

// count looks through the run. Where withChecks is false, checks and bolts are left out and taken as accepted.
func (r *run) count(withChecks bool) count {
	c := count{steps: r.steps(), accepted: true}
	c.doubted = r.doubted(c.steps)
	if withChecks {
		checks, good := r.checkFindings(c.steps)
		bolts, fit := WornOut(r.bolts())
		c.against, c.accepted = slices.Concat(checks, bolts), good && fit
	}
	return c
}

// complete is true where all is tightened and not doubted, every check accepted, and every bolt may stay.
func (c *count) complete() bool { return tightened(c.steps) && len(c.doubted) == 0 && c.accepted }

func (r *run) complete() bool {
	c := r.count(true)
	return c.complete()
}
