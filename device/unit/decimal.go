package unit

import (
	"errors"
	"fmt"
	"math/bits"
	"strings"
)

// decimal is a number as it was written: coefficient / 10^places.
type decimal struct {
	negative    bool
	coefficient uint64
	places      int
}

// maxPlaces bounds the digits after the point; more of them mean nothing in a workshop.
const maxPlaces = 30

// ErrTooLarge tells a number that is well formed, but beyond what the quantity holds, from text that is no number.
var ErrTooLarge = errors.New("the number is too large or has too many digits")

var errNoNumber = errors.New("the number is missing")

// parseDecimal reads an optional sign, digits, and an optional point with digits after it. Nothing else is a number
// here: no exponent, no decimal comma, no thousands mark, no bare point. Text is not kept, so that bytes can be read
// without being copied: an error holds a copy.
func parseDecimal(text string) (decimal, error) {
	var d decimal
	digits := text
	switch {
	case text == "":
		return d, errNoNumber
	case text[0] == '-':
		d.negative, digits = true, text[1:]
	case text[0] == '+':
		digits = text[1:]
	}
	whole, fraction, point := strings.Cut(digits, ".")
	if !allDigits(whole) || point && !allDigits(fraction) {
		return d, notANumber(text)
	}
	fraction = strings.TrimRight(fraction, "0")
	if len(fraction) > maxPlaces {
		return d, fmt.Errorf("%.60q has more than %d digits after the point", strings.Clone(text), maxPlaces)
	}
	d.places = len(fraction)
	for _, run := range []string{whole, fraction} {
		for _, c := range []byte(run) {
			hi, lo := bits.Mul64(d.coefficient, 10)
			sum, carry := bits.Add64(lo, uint64(c-'0'), 0)
			if hi != 0 || carry != 0 {
				return d, ErrTooLarge
			}
			d.coefficient = sum
		}
	}
	return d, nil
}

func notANumber(text string) error {
	shown := strings.Clone(text)
	if strings.Contains(text, ",") {
		return fmt.Errorf("%.60q is not a number: write the decimal sign as a point", shown)
	}
	return fmt.Errorf("%.60q is not a number: write digits with at most one point, as in 45.2", shown)
}

func allDigits(s string) bool {
	for _, c := range []byte(s) {
		if c < '0' || c > '9' {
			return false
		}
	}
	return s != ""
}

// scale is the worth of one unit in the steps of a quantity: multiplier / 10^exponent, which is at least one;
// the multiplier is below 2^60.
type scale struct {
	multiplier uint64
	exponent   int
}

// steps converts the number to whole steps, a half rounded away from zero, and says whether nothing was rounded.
func (d decimal) steps(s scale) (value int64, exact bool, err error) {
	// A multiplier below 2^60 leaves room in 128 bits for ten times the product: the digit that decides the rounding.
	hi, lo := bits.Mul64(d.coefficient, s.multiplier)
	hi, lo = mul10(hi, lo)
	exact = true
	for range d.places + s.exponent {
		var rest uint64
		hi, lo, rest = div10(hi, lo)
		exact = exact && rest == 0
	}
	lo, more := bits.Add64(lo, 5, 0)
	hi, lo, rest := div10(hi+more, lo)
	exact = exact && rest == 5
	value, err = signed(d.negative, hi, lo)
	return value, exact, err
}

func mul10(hi, lo uint64) (h, l uint64) {
	carry, l := bits.Mul64(lo, 10)
	return hi*10 + carry, l
}

func div10(hi, lo uint64) (h, l, rest uint64) {
	h, r := hi/10, hi%10
	l, rest = bits.Div64(r, lo, 10)
	return h, l, rest
}

func signed(negative bool, hi, lo uint64) (int64, error) {
	const limit = 1 << 63
	switch {
	case hi != 0 || lo > limit || lo == limit && !negative:
		return 0, ErrTooLarge
	case negative:
		return -int64(lo), nil // wraps to the least int64 for 2^63, which is meant
	}
	return int64(lo), nil
}

// format writes steps in a unit with exactly so many decimals, a half rounded away from zero.
func (s scale) format(steps int64, decimals int) string {
	hi, lo := bits.Mul64(magnitude(steps), pow10(s.exponent))
	whole, rest := bits.Div64(hi, lo, s.multiplier)
	text := fmt.Appendf(nil, "0%d", whole) // the leading 0 takes a carry
	for range decimals {
		text = append(text, '0'+byte(rest*10/s.multiplier))
		rest = rest * 10 % s.multiplier
	}
	if rest*2 >= s.multiplier {
		carryOne(text)
	}
	return assemble(steps < 0, text, decimals)
}

func magnitude(v int64) uint64 {
	if v < 0 {
		return -uint64(v)
	}
	return uint64(v)
}

func pow10(n int) uint64 {
	p := uint64(1)
	for range n {
		p *= 10
	}
	return p
}

func carryOne(digits []byte) {
	for i := len(digits) - 1; ; i-- {
		if digits[i] < '9' {
			digits[i]++
			return
		}
		digits[i] = '0'
	}
}

// assemble sets point and sign. A number that was rounded to zero has no sign.
func assemble(negative bool, digits []byte, decimals int) string {
	whole := strings.TrimLeft(string(digits[:len(digits)-decimals]), "0")
	fraction := string(digits[len(digits)-decimals:])
	if whole == "" {
		whole = "0"
	}
	if decimals > 0 {
		whole += "." + fraction
	}
	if negative && strings.Trim(whole, "0.") != "" {
		return "-" + whole
	}
	return whole
}

// shortest writes steps with the fewest digits that lose nothing.
func (s scale) shortest(steps int64, places int) string {
	text := s.format(steps, places)
	if places == 0 {
		return text
	}
	return strings.TrimSuffix(strings.TrimRight(text, "0"), ".")
}

// cutNumber splits "30 N·m" into number and unit text. The number is what looks like a part of one, so that a
// wrong number is reported as such and not as a strange unit.
func cutNumber(text string) (number, unit string) {
	text = strings.TrimSpace(text)
	end := strings.IndexFunc(text, func(r rune) bool { return !strings.ContainsRune("0123456789.,+-", r) })
	if end < 0 {
		return text, ""
	}
	return text[:end], strings.TrimSpace(text[end:])
}
