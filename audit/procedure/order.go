package procedure

import (
	"math/big"
	"slices"

	"witnessmark/device/strictyaml"
)

// order reads an order of tightening for the covered fasteners (nil: all): listed, inside-out or a list of ids.
func (j *jointReader) order(n strictyaml.Node, covered []int) []int {
	if covered == nil {
		covered = make([]int, len(j.joint.Fasteners))
		for i := range covered {
			covered[i] = i
		}
	}
	if n.IsList() {
		order := j.indices(n, "order")
		for _, f := range covered {
			if len(order) > 0 && !slices.Contains(order, f) {
				n.Faultf("found an order without fastener %s, expected every fastener once", j.joint.Fasteners[f].ID)
				break
			}
		}
		for _, f := range order {
			if !slices.Contains(covered, f) {
				n.Faultf("found fastener %s in the order, expected only those that the stage covers", j.joint.Fasteners[f].ID)
				break
			}
		}
		return order
	}
	if oneOf(n, "listed", "inside-out") != "inside-out" {
		return slices.Clone(covered)
	}
	for _, f := range covered {
		if !j.joint.Fasteners[f].Placed {
			n.Faultf("found inside-out and no place of fastener %s, expected every fastener to have its coordinates, such as at: [80, 0]", j.joint.Fasteners[f].ID)
			return slices.Clone(covered)
		}
	}
	return insideOut(j.joint.Fasteners, covered)
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
	left := make([]hole, 0, len(covered))
	n := big.NewInt(int64(len(covered)))
	var sx, sy big.Int
	for _, f := range covered {
		sx.Add(&sx, big.NewInt(int64(all[f].X)))
		sy.Add(&sy, big.NewInt(int64(all[f].Y)))
	}
	for _, f := range covered {
		h := hole{index: f, x: scaled(int64(all[f].X), n), y: scaled(int64(all[f].Y), n)}
		h.out = square(&h, &hole{x: &sx, y: &sy})
		left = append(left, h)
	}
	slices.SortStableFunc(left, func(a, b hole) int { return a.index - b.index })
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

// pick chooses among the holes left, in listed order.
func pick(left []hole, last *hole) int {
	nearest := left[0].out
	for i := range left {
		if left[i].out.Cmp(nearest) < 0 {
			nearest = left[i].out
		}
	}
	limit := new(big.Int).Mul(nearest, big.NewInt(10_404)) // 1.02² in ten thousandths
	best, farthest := -1, new(big.Int)
	for i := range left {
		if scaled10000(left[i].out).Cmp(limit) > 0 {
			continue
		}
		away := new(big.Int)
		if last != nil {
			away = square(&left[i], last)
		}
		if best < 0 || away.Cmp(farthest) > 0 {
			best, farthest = i, away
		}
	}
	return best
}

func scaled(v int64, n *big.Int) *big.Int { return new(big.Int).Mul(big.NewInt(v), n) }

func scaled10000(v *big.Int) *big.Int { return new(big.Int).Mul(v, big.NewInt(10_000)) }

// square is the square of the distance between two holes.
func square(a, b *hole) *big.Int {
	dx, dy := new(big.Int).Sub(a.x, b.x), new(big.Int).Sub(a.y, b.y)
	dx.Mul(dx, dx)
	return dx.Add(dx, dy.Mul(dy, dy))
}
