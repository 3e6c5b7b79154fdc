package match

import (
	"math/bits"

	"witnessmark/audit"
)

// nats is a natural logarithm in millionths (µnat). Weights are integers so that the same journal gives the same
// marks on every processor: floating-point exp and log differ in the last bit between architectures.
type nats int64

const (
	oneNat nats = 1_000_000
	ln2    nats = 693_147
	never  nats = -60 * oneNat // as good as impossible
)

// lnTable holds ln(1 + i/1024) in µnat, so that a logarithm in the matching costs a look-up and not a series.
var lnTable = func() (table [1025]int64) {
	for i := range table {
		table[i] = lnSeries(one30 + int64(i)<<20)
	}
	return table
}()

const one30 = int64(1) << 30

// lnSeries is the logarithm of m/2^30, 1 ≤ m/2^30 ≤ 2: ln m = 2·atanh((m-1)/(m+1)).
func lnSeries(m int64) int64 {
	y := (m - one30) * one30 / (m + one30) // in [0, 1/3]
	y2 := y * y >> 30
	term, sum := y, y
	for k := int64(3); k <= 19; k += 2 {
		term = term * y2 >> 30
		sum += term / k
	}
	return 2 * sum * 1_000_000 >> 30
}

// ln is the natural logarithm of x ≥ 1, within 10 µnat (checked against math.Log in the test).
func ln(x int64) nats {
	if x <= 1 {
		return 0
	}
	e := bits.Len64(uint64(x)) - 1
	m := scaleTo30(x, e) - one30
	low, high := lnTable[m>>20], lnTable[m>>20+1]
	return nats(e)*693_147_181/1000 + nats(low+(high-low)*(m&(1<<20-1))>>20)
}

func scaleTo30(x int64, e int) int64 {
	if e > 30 {
		return x >> (e - 30)
	}
	return x << (30 - e)
}

// lnShare is the logarithm of a probability, 0 < p ≤ 1.
func lnShare(p audit.Share) nats { return ln(int64(p)) - lnCertain }

var lnCertain = ln(int64(audit.Certain))

// expTable holds e^(-i/1024) in thousand-millionths, expWhole e^-n.
var (
	expTable = func() (table [1025]int64) {
		for i := range table {
			table[i] = expSeries(int64(i) * int64(oneNat) / 1024)
		}
		return table
	}()
	expWhole = func() (table [21]int64) {
		table[0] = 1_000_000_000
		for i := 1; i < len(table); i++ {
			table[i] = table[i-1] * 367_879_441 / 1_000_000_000
		}
		return table
	}()
)

// expSeries is e^-f for f up to one nat, in thousand-millionths.
func expSeries(f int64) int64 {
	term, sum := int64(1_000_000_000), int64(1_000_000_000)
	for k := int64(1); k <= 14; k++ {
		term = -term * f / (k * int64(oneNat))
		sum += term
	}
	return sum
}

// expNano is e^x for x ≤ 0, in thousand-millionths, within three of them and one millionth of its value.
func expNano(x nats) int64 {
	if x <= -20*oneNat {
		return 0
	}
	n, f := int64(-x)/int64(oneNat), int64(-x)%int64(oneNat)
	i, rest := f*1024/int64(oneNat), f*1024%int64(oneNat)
	v := expTable[i] - (expTable[i]-expTable[i+1])*rest/int64(oneNat)
	return v * expWhole[n] / 1_000_000_000
}

// gauss is the logarithm of the normal density at a deviation dev, given the variance, both in the same unit.
func gauss(dev, variance int64) nats {
	dev = min(max(dev, -1_000_000), 1_000_000)
	variance = max(variance, 1)
	return -nats(dev*dev/2*1000/variance)*1000 - (ln(variance)+halfLn2Pi2)/2
}

const halfLn2Pi2 nats = 1_837_877 // ln(2π)

// flat is the logarithm of the uniform density over a width.
func flat(width int64) nats { return -ln(width) }
