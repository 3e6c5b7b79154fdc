package profile

import (
	"math/big"
	"math/bits"
	"strconv"
	"strings"
)

// decimal is a number as it was written, exactly: value / 10^places.
type decimal struct {
	minus  bool
	value  uint64
	places int
}

// numberFault is what is wrong with a number.
type numberFault int

const (
	noFault   numberFault = iota
	notNumber             // it is none
	tooLarge              // it has more digits than any wrench measures
)

// readDecimal reads an optional sign, digits, and an optional decimal sign with digits after it, and nothing else.
func readDecimal(t []byte, sign byte) (d decimal, fault numberFault) {
	if len(t) > 0 && (t[0] == '-' || t[0] == '+') {
		d.minus, t = t[0] == '-', t[1:]
	}
	if len(t) == 0 {
		return d, notNumber
	}
	point, zeros := false, 0 // zeros behind the point are put off: at the end they may be too many
	for i, c := range t {
		switch {
		case c == sign && !point && i > 0 && i < len(t)-1:
			point = true
		case c < '0' || c > '9':
			return d, notNumber
		case point && c == '0':
			zeros++
		case !point:
			fault = max(fault, d.shift(c-'0', 0))
		default:
			for ; zeros > 0; zeros-- {
				fault = max(fault, d.shift(0, 1))
			}
			fault = max(fault, d.shift(c-'0', 1))
		}
	}
	for ; zeros > 0 && d.value < 1<<59 && d.places < maxPlaces; zeros-- {
		d.shift(0, 1)
	}
	return d, fault
}

// shift puts a digit behind the others, in so many places more.
func (d *decimal) shift(digit byte, places int) numberFault {
	high, low := bits.Mul64(d.value, 10)
	sum, carry := bits.Add64(low, uint64(digit), 0)
	d.value = sum
	if d.places += places; high != 0 || carry != 0 || d.places > maxPlaces {
		return tooLarge
	}
	return noFault
}

// steps is the number in whole steps of 1/10^exponent, a half rounded away from zero.
func (d decimal) steps(exponent int) (n int64, fits bool) {
	v, high := d.value, uint64(0)
	switch spare := d.places - exponent; {
	case spare > 19:
		v = 0
	case spare > 0:
		divisor := tens[spare]
		rest := v % divisor
		if v /= divisor; rest >= divisor-rest {
			v++
		}
	default:
		high, v = bits.Mul64(v, tens[min(-spare, 19)])
	}
	if high != 0 || v > 1<<63-1 {
		return 0, false
	}
	if d.minus {
		return -int64(v), true
	}
	return int64(v), true
}

var tens = func() (t [20]uint64) {
	t[0] = 1
	for i := 1; i < len(t); i++ {
		t[i] = 10 * t[i-1]
	}
	return t
}()

// numberRoom is where a number is written down that is not on the wire as it is needed. A minus, 20 digits, a point
// and the zeros of maxPlaces fit.
type numberRoom [64]byte

// maxPlaces is how many digits after the point a number keeps; unit takes no more.
const maxPlaces = 30

// write writes the number with all its places.
func (d decimal) write(into *numberRoom) []byte {
	i := len(into)
	for n, v := 0, d.value; n <= d.places || v > 0; n++ {
		if n == d.places && n > 0 {
			i--
			into[i] = '.'
		}
		i--
		into[i] = '0' + byte(v%10)
		v /= 10
	}
	if d.minus {
		i--
		into[i] = '-'
	}
	return into[i:]
}

// or is the text that a number was written as, and the number itself where there was none.
func (d decimal) or(t []byte) string {
	var room numberRoom
	if t == nil {
		t = d.write(&room)
	}
	return string(t)
}

// scale multiplies the number on the wire, exactly: factor / 10^places. The zero scale leaves it alone.
type scale struct {
	factor uint64
	places int
	ratio  *big.Rat
}

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

// of multiplies a number.
func (s scale) of(d decimal) (decimal, numberFault) {
	if s.factor == 0 {
		return d, noFault
	}
	high, low := bits.Mul64(d.value, s.factor)
	d.value, d.places = low, d.places+s.places
	if high != 0 || d.places > maxPlaces {
		return d, tooLarge
	}
	return d, noFault
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
