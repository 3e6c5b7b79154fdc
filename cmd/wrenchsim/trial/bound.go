package trial

import (
	"fmt"
	"slices"
)

// bound holds the clean runs and those turned twice against what physics allows: the logarithm of how much likelier the
// readings of each are with one fastener turned twice and the next missed, wherever, than with all in order. It is weighed
// by the numbers that the run was made from, all but the draws of the single bolts and pulls; that the simulator cuts its
// scatters at three times their size is left out. No matching can tell the two kinds apart better (J. Neyman, E. S. Pearson: On
// the problem of the most efficient tests of statistical hypotheses, Philosophical Transactions A 231 (1933) 289–337).
type bound struct{ clean, twice []float64 }

// doubtedShare is the aim for clean joints that are doubted.
const doubtedShare = 0.005

func (b *bound) add(r *Run) {
	switch {
	case r.made == nil:
	case r.Slip == Clean:
		b.clean = append(b.clean, r.ratio())
	case r.Slip == TurnTwice && r.Knowable:
		b.twice = append(b.twice, r.ratio())
	}
}

// String is empty where there is nothing to compare.
func (b *bound) String() string {
	if len(b.clean) == 0 || len(b.twice) == 0 {
		return ""
	}
	clean := slices.Sorted(slices.Values(b.clean))
	cut := clean[len(clean)-1-int(doubtedShare*float64(len(clean)))]
	passed := Count{Of: len(b.twice)}
	for _, x := range b.twice {
		if x <= cut {
			passed.Hit++
		}
	}
	doubted := Count{Of: len(clean)}
	for _, x := range clean {
		if x >= slices.Min(b.twice) {
			doubted.Hit++
		}
	}
	return fmt.Sprintf("what physics allows, were all known but the draws of the single bolts and pulls:\n"+
		"  with %.1f %% of the clean joints doubted, turned twice and called complete: %s\n  with none of those called complete, clean joints doubted: %s\n",
		100*doubtedShare, passed.within(), doubted.within())
}
