package bench

import (
	"fmt"
	"strings"

	"witnessmark/audit"
)

// From what a joint is doubted, and who is named. All are shares of what the matcher holds possible, in millionths.
const (
	// From this share a fastener is named among those that may have been missed: a person looks at all of them, so hardly any
	// that may be meant is left out.
	candidateFrom audit.Share = 30_000
	// From this share the missed one is taken to be known, and no others are named beside it.
	certainFrom audit.Share = 900_000
	// From this share of there being any missed step a joint without an open one is doubted. What it trades, sound joints that
	// are looked at for missed fasteners that are found, was measured: see "What the matching reaches" in DEVELOPERS.md.
	doubtFrom audit.Share = 25_000
	// What each reading adds that a second hit would have equalled: the share of pulls that are second hits, pReHitLast and
	// pReHitAny of audit/match.
	blindShare audit.Share = 10_000
	// The part of the doubt, one in so many, from which a single step is named: a slip whose place is unsure spreads over many.
	doubtedPart = 5
)

// doubt speaks of steps that are taken as done, where another reading of the same facts leaves one open.
func doubt(d *OpenStage) string {
	if d.Stage == "" {
		return "the readings leave it open whether a fastener was missed: check them all"
	}
	return fmt.Sprintf("stage %s: the readings leave it open whether one was missed: check %s", d.Stage, strings.Join(d.Candidates, ", "))
}

// doubted are those steps, by stage; an empty stage stands for the joint as a whole. Before the last pull there is nothing
// to doubt yet, and once the matcher is gone there is nothing any more.
func (r *run) doubted(steps []StepState) []OpenStage {
	if r.matcher == nil || !tightened(steps) {
		return nil
	}
	blind := r.matcher.Blind() // where nothing could show a second hit, that is no trace of one
	from := doubtFrom
	for _, n := range blind {
		from += blindShare * audit.Share(n)
	}
	open := r.matcher.AnyOpen()
	if open < from { // the other stages are held to the share that they can show
		open, from = r.matcher.AnyOpenOf(func(stage int) bool { return blind[stage] == 0 }), doubtFrom
	}
	if open < from {
		return nil
	}
	out := r.suspects(steps, open/doubtedPart)
	if len(out) == 0 {
		out = append(out, OpenStage{})
	}
	return out
}

// suspects names the done steps that are open with at least a share.
func (r *run) suspects(steps []StepState, least audit.Share) (out []OpenStage) {
	shares := r.matcher.OpenShare()
	for _, st := range r.joint.Stages {
		var may []string
		for i, s := range steps {
			if s.Stage == st.ID && s.State == Done && shares[i] >= least && !s.Verify {
				may = append(may, s.Fastener)
			}
		}
		if len(may) > 0 {
			out = append(out, OpenStage{Stage: st.ID, Candidates: may})
		}
	}
	return out
}
