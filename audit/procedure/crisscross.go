package procedure

import (
	"math/big"
	"slices"
)

// crissCross orders fasteners across from each other, in pairs, which is common practice for round flanges and covers:
// the joint closes evenly and does not tilt.
//
// The rule: the first is the one listed first. Its partner is the one farthest from it. Every further pair begins with
// the one that is farthest from all that are done (the largest of the smallest distances); among the equally far, with
// the one farthest from the last pair; and its partner is again the one farthest from it. What differs by at most half a percent
// counts as equal, for coordinates are rounded, and of equals the one listed first is taken. On a bolt circle this is the
// usual star pattern: 1 5 3 7 2 6 4 8 of eight, 1 7 4 10 2 8 5 11 3 9 6 12 of twelve.
func crissCross(all []Fastener, covered []int) []int {
	left := slices.Clone(covered)
	order := make([]int, 0, len(left))
	for len(left) > 0 {
		left, order = take(left, order, farthestFromDone(all, left, order))
		if len(left) == 0 {
			break
		}
		first := order[len(order)-1]
		left, order = take(left, order, best(left, func(f int) *big.Int { return distance(all, f, first) }))
	}
	return order
}

func take(left, order []int, candidates []int) (rest, taken []int) {
	f := candidates[0]
	return slices.DeleteFunc(left, func(g int) bool { return g == f }), append(order, f)
}

// farthestFromDone are the fasteners that a pair may begin with, the best first.
func farthestFromDone(all []Fastener, left, done []int) []int {
	if len(done) == 0 {
		return left
	}
	far := best(left, func(f int) *big.Int {
		var nearest *big.Int
		for _, d := range done {
			if x := distance(all, f, d); nearest == nil || x.Cmp(nearest) < 0 {
				nearest = x
			}
		}
		return nearest
	})
	last := done[max(0, len(done)-2):]
	return best(far, func(f int) *big.Int {
		sum := new(big.Int)
		for _, d := range last {
			sum.Add(sum, distance(all, f, d))
		}
		return sum
	})
}

// best are those of a list with the largest value, within half a percent, in the order of the list.
func best(list []int, value func(int) *big.Int) []int {
	values := make([]*big.Int, len(list))
	most := new(big.Int)
	for i, f := range list {
		if values[i] = value(f); values[i].Cmp(most) > 0 {
			most = values[i]
		}
	}
	least := new(big.Int).Mul(most, big.NewInt(995))
	least.Div(least, big.NewInt(1000))
	var out []int
	for i, f := range list {
		if values[i].Cmp(least) >= 0 {
			out = append(out, f)
		}
	}
	return out
}

// distance between two fasteners, in nm.
func distance(all []Fastener, a, b int) *big.Int {
	p := hole{x: big.NewInt(int64(all[a].X)), y: big.NewInt(int64(all[a].Y))}
	q := hole{x: big.NewInt(int64(all[b].X)), y: big.NewInt(int64(all[b].Y))}
	d := square(&p, &q)
	return d.Sqrt(d)
}
