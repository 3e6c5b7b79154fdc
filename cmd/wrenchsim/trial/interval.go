package trial

import (
	"fmt"
	"math"
)

// Interval is the 95 % interval of a share, by its score (E. B. Wilson: Probable inference, the law of succession, and
// statistical inference, Journal of the American Statistical Association 22 (1927) 209–212).
func (c Count) Interval() (low, high float64) {
	const z = 1.959964
	if c.Of == 0 {
		return 0, 1
	}
	n, p := float64(c.Of), c.Share()
	middle := p + z*z/(2*n)
	half := z * math.Sqrt(p*(1-p)/n+z*z/(4*n*n))
	return max(0, (middle-half)/(1+z*z/n)), min(1, (middle+half)/(1+z*z/n))
}

// within is how many of how many, with the interval in percent.
func (c Count) within() string {
	low, high := c.Interval()
	return fmt.Sprintf("%s, %s (95 %%: %.2f … %.2f %%)", c.of(), c, 100*low, 100*high)
}
