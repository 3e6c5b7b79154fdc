package sheet

import (
	"slices"
	"strings"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/audit/recall"
)

// suspect tells what rests on readings of wrenches that were found bad.
func (o *Joint) suspect(steps []bench.StepState, doubts map[string][]recall.Doubt) {
	if len(doubts) == 0 {
		return
	}
	by := o.taken()
	found := func(reading uint64) (wrench string, d *recall.Doubt) {
		t := by[reading]
		return t.Wrench, recall.Of(doubts[t.Wrench], t.At)
	}
	for i := range o.Checks {
		if _, bad := found(o.Checks[i].Reading); bad != nil {
			o.Checks[i].Flags = append(slices.Clip(o.Checks[i].Flags), audit.FoundBad)
		}
	}
	var checks []bench.Measurement
	for name, i := range o.answered() {
		if c := &o.Checks[i]; c.Reading != 0 {
			checks = append(checks, bench.Measurement{Check: name, Reading: c.Reading})
		}
	}
	slices.SortFunc(checks, func(a, b bench.Measurement) int { return int(int64(a.Reading) - int64(b.Reading)) })
	o.suspects = bench.Suspects(steps, checks, found)
	for _, s := range o.suspects {
		o.Doubts = append(o.Doubts, s.String())
	}
	o.Findings, o.OfJoint = slices.Concat(o.Doubts, o.Findings), slices.Concat(o.Doubts, o.OfJoint) // the worst first
}

// taken are the readings of the joint by their numbers, as far as Wrench and At are asked for.
func (o *Joint) taken() map[uint64]Mark {
	out := map[uint64]Mark{}
	for _, s := range o.Steps {
		for _, m := range s.Marks {
			out[m.Reading] = m
		}
	}
	for _, c := range o.Checks {
		out[c.Reading] = Mark{Reading: c.Reading, Wrench: c.Wrench, At: c.At}
	}
	return out
}

// answered is the newest answer to each check that counts and is accepted, by its name.
func (o *Joint) answered() map[string]int {
	out := map[string]int{}
	for i, c := range o.Checks {
		if o.OfOldBolt(&c) {
			continue
		}
		out["check "+bench.CheckName(c.Check, c.Fastener)] = i
		if !c.OK {
			delete(out, "check "+bench.CheckName(c.Check, c.Fastener))
		}
	}
	return out
}

// unconceded is true of a sentence that no concession has accepted.
func (b *Build) unconceded(doubt string) bool {
	return !slices.ContainsFunc(b.Concessions, func(c Concession) bool { return strings.Contains(c.Found, doubt) })
}

// InDoubt says in a sentence how many readings a calibration has put in doubt that found their wrench bad, as far as nobody has
// conceded that; empty: none. A build may be released by then.
func (b *Build) InDoubt() string {
	n := 0
	for i := range b.Joints {
		for _, s := range b.Joints[i].suspects {
			if !b.Joints[i].Earlier && b.unconceded(s.String()) {
				n += len(s.Readings)
			}
		}
	}
	return bench.InDoubt(n)
}
