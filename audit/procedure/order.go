package procedure

import (
	"cmp"
	"math/big"
	"slices"

	"witnessmark/device/strictyaml"
)

// order reads an order of tightening for the covered fasteners (nil: all): listed, inside-out,
// criss-cross or a list of ids.
func (j *jointReader) order(n strictyaml.Node, covered []int) []int {
	if covered == nil {
		covered = make([]int, len(j.joint.Fasteners))
		for i := range covered {
			covered[i] = i
		}
	}
	if n.IsList() {
		return j.orderByIDs(n, covered)
	}
	rule := oneOf(n, "listed", "inside-out", "criss-cross")
	if rule == "listed" || rule == "" {
		return slices.Clone(covered)
	}
	for _, f := range covered {
		if !j.joint.Fasteners[f].Placed {
			n.Faultf("found %s and no place of fastener %s, expected every fastener to have its coordinates, such as at: [80, 0]", rule, j.joint.Fasteners[f].ID)
			return slices.Clone(covered)
		}
	}
	if rule == "criss-cross" {
		return crissCross(j.joint.Fasteners, covered)
	}
	return insideOut(j.joint.Fasteners, covered)
}

// orderByIDs reads an order that names every covered fastener once.
func (j *jointReader) orderByIDs(n strictyaml.Node, covered []int) []int {
	order := j.indices(n, "order")
	missing := slices.IndexFunc(covered, func(f int) bool { return !slices.Contains(order, f) })
	if missing >= 0 && len(order) > 0 {
		n.Faultf("found an order without fastener %s, expected every fastener once", j.joint.Fasteners[covered[missing]].ID)
	}
	surplus := slices.IndexFunc(order, func(f int) bool { return !slices.Contains(covered, f) })
	if surplus >= 0 {
		n.Faultf("found fastener %s in the order, expected only those that the stage covers", j.joint.Fasteners[order[surplus]].ID)
	}
	return order
}

// indices reads a list of fastener ids, each of them once.
func (j *jointReader) indices(n strictyaml.Node, what string) []int {
	items, ok := n.List()
	if ok && len(items) == 0 {
		n.Faultf("found no fastener, expected at least one in %s", what)
	}
	var all []int
	for _, item := range items {
		id, ok := item.Text()
		if !ok {
			continue
		}
		f, known := j.fasteners[id]
		switch {
		case !known:
			item.Faultf("found the fastener %s, expected one of this joint", quote(id))
		case slices.Contains(all, f):
			item.Faultf("found the fastener %s again, expected it once", quote(id))
		default:
			all = append(all, f)
		}
	}
	return all
}

// insideOut orders fasteners from the centre outwards, from side to side, which is common practice for heads and
// covers: the clamped part is pressed flat from its middle and cannot be trapped in a bulge.
//
// The rule: the centre is the mean of the coordinates. Of the fasteners left, those nearest to the centre are taken
// first; what is at most 2 % farther counts as equally near, for coordinates are rounded. Among the equally near, the
// next one is the one farthest from the fastener before it. Where that leaves several, and at the start, the one
// listed first is taken.
func insideOut(all []Fastener, covered []int) []int {
	left := holes(all, covered)
	order := make([]int, 0, len(left))
	var last *hole
	for len(left) > 0 {
		next := pick(left, last)
		h := left[next]
		last = &h
		order = append(order, h.index)
		left = slices.Delete(left, next, next+1)
	}
	return order
}

// hole is a place with its coordinates times the number of fasteners, so that the centre has whole coordinates too.
type hole struct {
	index int
	x, y  *big.Int
	out   *big.Int // square of the distance from the centre
}

// holes gives the covered fasteners' places, the nearest to the centre first, equal ones as listed.
func holes(all []Fastener, covered []int) []hole {
	n := big.NewInt(int64(len(covered)))
	centre := hole{x: new(big.Int), y: new(big.Int)}
	for _, f := range covered {
		centre.x.Add(centre.x, big.NewInt(int64(all[f].X)))
		centre.y.Add(centre.y, big.NewInt(int64(all[f].Y)))
	}
	places := make([]hole, len(covered))
	for i, f := range covered {
		x, y := big.NewInt(int64(all[f].X)), big.NewInt(int64(all[f].Y))
		places[i] = hole{index: f, x: x.Mul(x, n), y: y.Mul(y, n)}
		places[i].out = square(&places[i], &centre)
	}
	slices.SortFunc(places, func(a, b hole) int { return cmp.Or(a.out.Cmp(b.out), a.index-b.index) })
	return places
}

// pick chooses among the holes left, which are sorted by their distance from the centre.
func pick(left []hole, last *hole) int {
	limit := new(big.Int).Mul(left[0].out, big.NewInt(10_404)) // 1.02² in ten thousandths
	limit.Div(limit, big.NewInt(10_000))
	best, farthest := -1, new(big.Int)
	for i := range left {
		if left[i].out.Cmp(limit) > 0 {
			break
		}
		away := new(big.Int)
		if last != nil {
			away = square(&left[i], last)
		}
		further := away.Cmp(farthest)
		if best < 0 || further > 0 || further == 0 && left[i].index < left[best].index {
			best, farthest = i, away
		}
	}
	return best
}

// square is the square of the distance between two holes.
func square(a, b *hole) *big.Int {
	dx, dy := new(big.Int).Sub(a.x, b.x), new(big.Int).Sub(a.y, b.y)
	dx.Mul(dx, dx)
	return dx.Add(dx, dy.Mul(dy, dy))
}
