package trial

import "slices"

// round finds the residual torque of every fastener in the listed order; at times one is left out, or taken twice.
func (t *technician) round(steps []int) {
	t.watching = true
	pulls := make([]pull, 0, len(steps)+1)
	for _, i := range steps {
		pulls = append(pulls, pull{step: i, share: 1})
	}
	k := t.source.IntN(len(pulls))
	t.way = []Way{RoundListed, RoundListed, RoundLeft, RoundTwice}[t.source.IntN(4)]
	switch t.way {
	case RoundLeft:
		pulls = slices.Delete(pulls, k, k+1)
	case RoundTwice:
		pulls = slices.Insert(pulls, k, pulls[k])
	}
	for i, p := range pulls {
		p.shadow = t.way == RoundTwice || t.way == RoundLeft && i >= k // an extra one may be any of them
		t.pull(p)
	}
}
