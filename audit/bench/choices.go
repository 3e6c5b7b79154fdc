package bench

// JointChoice is a joint of a build that could be put on a bench.
type JointChoice struct {
	ID, Title string
	Bench     string // where it is now; empty: nowhere
	// Complete and Begun say how it was left when it was taken off a bench last; neither: it never was on one.
	Complete, Begun bool
}

// Joints lists the joints of a build in the order of its procedure.
func (s *Shop) Joints(build uint64) []JointChoice {
	b := s.build(build)
	if b == nil {
		return nil
	}
	b = s.whole(b)
	at := map[string]string{}
	for name, r := range s.runs { // a joint is on one bench at most
		if r.build.ID == build {
			at[r.joint.ID] = name
		}
	}
	out := []JointChoice{}
	for _, j := range b.revision.parsed.Joints {
		c := b.closed[j.ID]
		out = append(out, JointChoice{j.ID, j.Title, at[j.ID], c != nil && c.unfinished == nil, c != nil && c.unfinished != nil})
	}
	return out
}
