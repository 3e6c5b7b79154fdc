package profile

import (
	"math/big"
	"math/bits"
	"strconv"
	"strings"
)

// scale multiplies the number on the wire, exactly: factor / 10^places. The zero scale leaves it alone.
type scale struct {
	factor uint64
	places int
	ratio  *big.Rat
}

// maxPlaces is how many digits after the point a number keeps; unit takes no more.
const maxPlaces = 30

// readScale reads a positive decimal number of few digits.
func readScale(s string) (scale, bool) {
	whole, fraction, _ := strings.Cut(s, ".")
	digits := whole + fraction
	factor, err := strconv.ParseUint(digits, 10, 64)
	ratio, ok := new(big.Rat).SetString(s)
	if err != nil || !ok || factor == 0 || len(digits) > 9 || len(fraction) > 8 || whole == "" || strings.HasSuffix(s, ".") {
		return scale{}, false
	}
	return scale{factor, len(fraction), ratio}, true
}

// numberRoom is where a number is written down that is not on the wire as it is needed.
type numberRoom [64]byte

// times writes the product of number and scale, with all its digits after the point. The number has a point and
// perhaps a sign; ok is false if it is none, large if it or the product has too many digits.
func (s scale) times(number []byte, into *numberRoom) (product []byte, ok, large bool) {
	digits, sign := number, byte(0)
	if len(digits) > 0 && (digits[0] == '-' || digits[0] == '+') {
		sign, digits = digits[0], digits[1:]
	}
	value, places, point := uint64(0), 0, false
	for i, c := range digits {
		switch {
		case c == '.' && !point && i > 0 && i < len(digits)-1:
			point = true
			continue
		case c < '0' || c > '9':
			return nil, false, false
		case point:
			places++
		}
		high, low := bits.Mul64(value, 10)
		sum, carry := bits.Add64(low, uint64(c-'0'), 0)
		large = large || high != 0 || carry != 0
		value = sum
	}
	high, value := bits.Mul64(value, s.factor)
	if places += s.places; len(digits) == 0 || large || high != 0 || places > maxPlaces {
		return nil, len(digits) > 0, true
	}
	return appendDecimal(into[:0], sign == '-', value, places), true, false
}

// appendDecimal writes value / 10^places.
func appendDecimal(b []byte, minus bool, value uint64, places int) []byte {
	if minus {
		b = append(b, '-')
	}
	begin := len(b)
	b = strconv.AppendUint(b, value, 10)
	if places == 0 {
		return b
	}
	for len(b)-begin <= places {
		b = append(b, 0)
		copy(b[begin+1:], b[begin:])
		b[begin] = '0'
	}
	b = append(b, 0)
	point := len(b) - 1 - places
	copy(b[point+1:], b[point:])
	b[point] = '.'
	return b
}

// undo is the number that gives this one when it is multiplied, with so many decimals, half a last digit rounded away
// from zero. exact: with as many more as it needs.
func (s scale) undo(number string, decimals int, exact bool) string {
	wanted, ok := new(big.Rat).SetString(number)
	switch {
	case !ok || s.ratio == nil && exact:
		return number
	case s.ratio == nil:
		return wanted.FloatString(decimals)
	}
	wire := new(big.Rat).Quo(wanted, s.ratio)
	for more := decimals; exact && more <= maxPlaces; more++ {
		text := wire.FloatString(more)
		if same, _ := new(big.Rat).SetString(text); same.Cmp(wire) == 0 {
			return text
		}
	}
	return wire.FloatString(decimals)
}
