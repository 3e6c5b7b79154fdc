// Package conform weighs a measured value against limits when the wrench that measured it is itself uncertain: the
// probability that the true value conforms (JCGM 106:2012, clause 7), and guard bands (ILAC-G8:09/2019, clause 4.2).
//
// All of it is whole numbers, so that a mark is the same on every processor.
package conform

import (
	"math/bits"

	"witnessmark/audit"
)

// The normal distribution is kept as a table of Φ(z) for z = 0 … 6 in steps of 1/512, in units of 2^-62: beyond 6 the
// rest is under one in a thousand million. It is summed up from the density by Simpson's rule, whose error here is
// below 1e-12; between two entries a straight line is within 4e-7.
const (
	perUnit = 512
	last    = 6 * perUnit
	one62   = int64(1) << 62
)

// 1/√(2π) in units of 2^-62.
const density0 = int64(1839796536686825613)

var table = func() (t [last + 1]int64) {
	t[0] = one62 / 2
	// φ(z+h) = φ(z)·exp(-h·z - h²/2); with h = 1/1024 half a step is an entry of its own for Simpson's rule.
	f := density0
	for k := range last {
		middle := times(f, expMinus(int64(4*k+1), 1<<21))   // z = 2k/1024: 2k/1024² + 1/(2·1024²)
		end := times(middle, expMinus(int64(4*k+3), 1<<21)) // z = (2k+1)/1024
		t[k+1] = t[k] + (f/6+middle/6*4+end/6)/perUnit
		f = end
	}
	return t
}()

// times multiplies two fractions of 2^62.
func times(a, b int64) int64 {
	high, low := bits.Mul64(uint64(a), uint64(b))
	return int64(high<<2 | low>>62)
}

// expMinus is exp(-n/d) for a small n/d, in units of 2^-62.
func expMinus(n, d int64) int64 {
	x := n * (one62 / d)
	term, sum := one62, one62
	for k := int64(1); k <= 6; k++ {
		term = times(term, x) / k
		if k%2 == 1 {
			sum -= term
		} else {
			sum += term
		}
	}
	return sum
}

// below is Φ(z) in millionths of a share, z = num/den, den > 0.
func below(num, den int64) audit.Share {
	if num < 0 {
		return audit.Certain - below(-num, den)
	}
	if num/den >= 6 {
		return audit.Certain
	}
	// num/den < 6: the product stays small for any torque or angle that a wrench measures.
	high, low := bits.Mul64(uint64(num), perUnit<<20)
	scaled, _ := bits.Div64(high, low, uint64(den))
	i, rest := int64(scaled>>20), int64(scaled&(1<<20-1))
	v := table[i]
	if i < last {
		v += (table[i+1] - v) >> 20 * rest
	}
	half := one62 / (2 * int64(audit.Certain))
	return audit.Share((v + half) / (one62 / int64(audit.Certain)))
}
