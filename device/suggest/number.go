package suggest

import (
	"strings"
)

// numberOf reads a number with its decimal sign, and gives it with a point.
func numberOf(text string) (string, bool) {
	digits := strings.TrimLeft(text, "+-")
	if len(text)-len(digits) > 1 {
		return "", false
	}
	point := 0
	for i, c := range []byte(digits) {
		switch {
		case c >= '0' && c <= '9':
		case (c == '.' || c == ',') && point == 0 && i > 0 && i < len(digits)-1:
			point = i
		default:
			return "", false
		}
	}
	return strings.Replace(text, ",", ".", 1), digits != ""
}

// shifted moves the point to the left.
func shifted(number string, places int) string {
	if places == 0 {
		return number
	}
	sign := ""
	if number[0] == '-' || number[0] == '+' {
		sign, number = number[:1], number[1:]
	}
	whole, fraction, _ := strings.Cut(number, ".")
	if short := places + 1 - len(whole); short > 0 {
		whole = strings.Repeat("0", short) + whole
	}
	return sign + whole[:len(whole)-places] + "." + whole[len(whole)-places:] + fraction
}

// scaleOf is how a profile writes that the point is to be moved to the left.
func scaleOf(places int) string {
	return "0." + strings.Repeat("0", places-1) + "1"
}
