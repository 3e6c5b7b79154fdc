package trial

import (
	"fmt"
	"math"
	"math/rand/v2"

	"witnessmark/audit"
	"witnessmark/cmd/wrenchsim/sim"
	"witnessmark/device/unit"
)

// reach is an adapter between wrench and fastener in one stage of a joint, or in all of them, and how the bench is told of it.
// nil: there is none.
type reach struct {
	way           Way
	stage         int
	lever, offset int // mm
	angle         int // degrees
}

// reach draws how an adapter is used in a joint of so many stages, the last of which is pulled without it.
func (w World) reach(stages int, source *rand.Rand) *reach {
	if !w.Adapters {
		return nil
	}
	ways := []Way{ReachStage, ReachFitted, ReachBoth, ReachAlways}
	return &reach{ways[source.IntN(len(ways))], source.IntN(stages - 1), 200 + source.IntN(400), 25 + source.IntN(100), 45 * source.IntN(5)}
}

// written is what stands of the adapter in the head of the procedure.
func (r *reach) written() string {
	if r == nil {
		return ""
	}
	return fmt.Sprintf("adapters:\n  foot: {lever: %d mm, offset: %d mm, angle: %d°}\n", r.lever, r.offset, r.angle)
}

// names is the adapter that a stage names; empty: none.
func (r *reach) names(stage int) string {
	if r == nil || stage != r.stage || r.way != ReachStage && r.way != ReachBoth {
		return ""
	}
	return "foot"
}

// at is what a fastener gets of one N·m shown in a stage, -1: outside of the joint.
func (r *reach) at(stage int) float64 {
	if r == nil || r.way != ReachAlways && stage != r.stage {
		return 1
	}
	return 1 + float64(r.offset)/float64(r.lever)*math.Cos(float64(r.angle)*math.Pi/180)
}

// through is a gauge behind an adapter: it feels factor times less than the fastener gets.
func through(g sim.Gauge, factor float64) sim.Gauge {
	return sim.Gauge{Threshold: g.Threshold * factor, WindUp: g.WindUp / factor}
}

// fitted says at the bench what is fitted for a stage from now on, -1: before the first.
func (t *technician) fitted(stage int) {
	r := t.reach
	if r == nil {
		return
	}
	t.way = r.way
	t.watching = t.watching || stage >= r.stage || r.way == ReachAlways
	on := r.way == ReachAlways && stage < 0 || stage == r.stage && (r.way == ReachFitted || r.way == ReachBoth)
	off := stage == r.stage+1 && (r.way == ReachFitted || r.way == ReachBoth)
	const mm = 1_000_000
	switch {
	case on:
		t.acts = append(t.acts, Act{After: len(t.readings), Fitted: &audit.AdapterFitted{Adapter: "foot", WrenchLength: unit.Length(r.lever) * mm,
			Extension: unit.Length(r.offset) * mm, Angle: unit.Angle(r.angle) * unit.Degree}})
	case off:
		t.acts = append(t.acts, Act{After: len(t.readings), Fitted: &audit.AdapterFitted{}})
	}
}
