package sheet

import (
	"cmp"
	"slices"
	"time"

	"witnessmark/audit/bench"
	"witnessmark/audit/procedure"
	"witnessmark/cmd/witnessmark/internal/drawing"
)

// StageOrder says in which order the fasteners of a stage were really done, against the order wanted, and when.
type StageOrder struct {
	Stage     string     `json:"stage"`
	Wanted    []string   `json:"wanted"`
	Done      []string   `json:"done"`        // those that are done, in the order of the readings that did it
	OutOfTurn []string   `json:"out_of_turn"` // the fewest whose moving explains the difference
	Began     *time.Time `json:"began"`       // the first reading of the stage; null: it was not begun
	Ended     *time.Time `json:"ended"`       // the last one
	// Pause is how many seconds passed since the last reading of the stage before; left out: no stage was begun before, or
	// that one was still being worked on.
	Pause *int64 `json:"pause,omitempty"`
}

// orders tells of every stage of a joint, in the order of the procedure.
func orders(j *procedure.Joint, steps []bench.StepState, at map[uint64]Mark) []StageOrder {
	out := make([]StageOrder, len(j.Stages))
	for k, turns := range drawing.Turns(j, steps) {
		o := StageOrder{Stage: j.Stages[k].ID, Wanted: []string{}, Done: []string{}, OutOfTurn: []string{}}
		for _, t := range turns {
			o.Wanted = append(o.Wanted, t.Fastener)
			if t.OutOfTurn {
				o.OutOfTurn = append(o.OutOfTurn, t.Fastener)
			}
		}
		done := slices.DeleteFunc(slices.Clone(turns), func(t drawing.Turn) bool { return t.Real == 0 })
		slices.SortFunc(done, func(a, b drawing.Turn) int { return cmp.Compare(a.Real, b.Real) })
		for _, t := range done {
			o.Done = append(o.Done, t.Fastener)
		}
		o.span(steps, at)
		out[k] = o
	}
	var before *time.Time
	for k := range out {
		out[k].paused(before)
		if out[k].Ended != nil {
			before = out[k].Ended
		}
	}
	return out
}

// span finds the first and the last reading of the stage, those of bolts that were renewed included.
func (o *StageOrder) span(steps []bench.StepState, at map[uint64]Mark) {
	for _, s := range steps {
		if s.Stage != o.Stage {
			continue
		}
		for _, m := range slices.Concat(s.Replaced, s.Marks) {
			when := at[m.Reading].At
			if o.Began == nil || when.Before(*o.Began) {
				o.Began = &when
			}
			if o.Ended == nil || when.After(*o.Ended) {
				o.Ended = &when
			}
		}
	}
}

func (o *StageOrder) paused(before *time.Time) {
	if before == nil || o.Began == nil || o.Began.Before(*before) {
		return
	}
	s := int64(o.Began.Sub(*before) / time.Second)
	o.Pause = &s
}
