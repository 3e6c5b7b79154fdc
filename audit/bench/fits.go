package bench

import "witnessmark/audit"

// Fits tells whether a reading of the joint on a bench passes in some stage of a fastener, or is held to be of it already. A
// fastener or reading that is not there fits nothing.
func (s *Shop) Fits(bench string, reading uint64, fastener string) bool {
	r := s.runs[bench]
	if r == nil || r.taken(reading) < 0 {
		return false
	}
	i := r.taken(reading)
	if r.readings[i].mark.Fastener == fastener {
		return true
	}
	for k, step := range r.order() {
		if r.joint.Fasteners[step.Fastener].ID == fastener && r.found(i, k).Verdict == audit.Pass {
			return true
		}
	}
	return false
}
