package bench

import (
	"witnessmark/audit"
	"witnessmark/audit/procedure"
	"witnessmark/device"
)

// Replayed is the outcome of a run without checks, for the replay of readings alone.
type Replayed struct {
	Live, Final []audit.Mark
	Summary     Summary
}

// Replay matches and judges readings of one joint with no shop around them. Marks name readings by 1, 2, 3 ….
func Replay(p *procedure.Procedure, j *procedure.Joint, readings []device.Reading) Replayed {
	b := &Build{BuildOpened: audit.BuildOpened{Family: p.Family, Revision: p.Revision}}
	r := &run{build: b, procedure: p, joint: j, matcher: newFollower(p, j)}
	var out Replayed
	for i, rd := range readings {
		e := audit.Entry{Seq: uint64(i) + 1}
		out.Live = append(out.Live, r.take(e, rd, undeclared, observation(e, &rd, undeclared, p))[0])
	}
	r.matcher.Settle()
	r.restate(nil)
	out.Final = r.marks()
	out.Summary = r.summary(false)
	return out
}
