package memory

import "slices"

// maxGaps bounds what is remembered of counts that did not come. Beyond it the oldest gap is forgotten: what comes
// late out of that is kept like any other reading, but begins an epoch that the wrench did not.
const maxGaps = 256

// gap is counts that did not come, both ends among them.
type gap struct{ from, to int64 }

// gaps rise and do not touch.
type gaps []gap

func (g gaps) at(count int64) int {
	return slices.IndexFunc(g, func(g gap) bool { return g.from <= count && count <= g.to })
}

func (g gaps) hold(count int64) bool { return g.at(count) >= 0 }

// open adds a gap above all others. One that ends before it begins is none.
func (g *gaps) open(from, to int64) {
	if from <= to {
		*g = append(*g, gap{from, to})
		g.bound()
	}
}

// fill takes one count out of the gap that holds it.
func (g *gaps) fill(count int64) {
	i := g.at(count)
	if i < 0 {
		return
	}
	var rest []gap
	if was := (*g)[i]; was.from < count {
		rest = append(rest, gap{was.from, count - 1})
	}
	if was := (*g)[i]; count < was.to {
		rest = append(rest, gap{count + 1, was.to})
	}
	*g = slices.Replace(*g, i, i+1, rest...)
	g.bound()
}

func (g *gaps) bound() {
	if n := len(*g) - maxGaps; n > 0 {
		*g = slices.Delete(*g, 0, n)
	}
}
