package bench

import (
	"witnessmark/device/unit"
)

// Spot is a fastener of the joint on a bench as it stands in the stage that is being worked on.
type Spot struct {
	ID     string      `json:"id"`
	X      unit.Length `json:"x"` // as in the procedure; y points up
	Y      unit.Length `json:"y"`
	Turn   int         `json:"turn"`  // at which it is tightened in this stage, from 1; 0: the stage leaves it out
	State  State       `json:"state"` // in this stage; empty where the stage leaves it out
	Next   bool        `json:"next,omitempty"`
	Placed bool        `json:"placed,omitempty"` // X and Y are given
}

// Spots are the fasteners of the joint on a bench, as listed, in the stage of what is next, else in the last one; none
// where no joint is there.
func (s *Shop) Spots(bench string) []Spot {
	r := s.runs[bench]
	if r == nil {
		return nil
	}
	stage, due := len(r.joint.Stages)-1, -1
	if _, due = r.matcher.Open(); due >= 0 {
		stage = r.matcher.Steps()[due].Stage
	}
	return r.spots(stage, due)
}

func (r *run) spots(stage, due int) []Spot {
	out := make([]Spot, len(r.joint.Fasteners))
	for i, f := range r.joint.Fasteners {
		out[i] = Spot{ID: f.ID, X: f.X, Y: f.Y, Placed: f.Placed}
	}
	states := map[string]State{}
	for _, st := range Steps(r.joint, r.marks(), r.renewals) {
		if st.Stage == r.joint.Stages[stage].ID {
			states[st.Fastener] = st.State
		}
	}
	turn := 0
	for i, s := range r.joint.Sequence() {
		if s.Stage != stage {
			continue
		}
		turn++
		out[s.Fastener].Turn, out[s.Fastener].State, out[s.Fastener].Next = turn, states[out[s.Fastener].ID], i == due
	}
	return out
}
