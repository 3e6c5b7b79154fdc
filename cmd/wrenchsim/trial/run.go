package trial

import "math/rand/v2"

// Play makes and scores n runs in a world, these slips in turn, from a seed. told is called after every run; nil: nobody
// listens. The same arguments give the same score.
func Play(w World, slips []Slip, n int, seed uint64, told func(done int)) *Score {
	s := NewScore()
	for i := range n {
		source := rand.New(rand.NewPCG(seed, uint64(i)))
		s.Add(Make(w, slips[i%len(slips)], source))
		if told != nil {
			told(i + 1)
		}
	}
	return s
}
