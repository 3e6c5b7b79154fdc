package label

import (
	"errors"
	"strings"
)

// Check is how the value of a label guards itself.
type Check string

// The checks. The digit of a VIN and of a GS1 number is a part of the number; that of Code 39 guards the bars alone and
// is taken off.
const (
	None   Check = "none"
	VIN    Check = "vin"    // vehicle identification number, 49 CFR 565.15(c)
	GS1    Check = "gs1"    // GTIN-8, -12, -13, -14 and SSCC-18, modulo 10
	Code39 Check = "code39" // modulo 43, the last character
)

// Checks lists the checks in the order in which they are to be named.
func Checks() []Check { return []Check{None, VIN, GS1, Code39} }

// NoCheckDigit is the note on a VIN of a maker outside North America whose ninth place is no check digit; ISO 3779
// leaves that place free.
const NoCheckDigit = "no check digit"

// verify gives what stands behind the prefix of a text, and a note where there is one to make. The character of Code 39
// guards everything between the bars, the prefix and blanks too.
func (c Check) verify(text, prefix string) (value, note string, err error) {
	if c == Code39 {
		if text, err = verifyCode39(text); err != nil {
			return "", "", err
		}
		text = text[min(len(prefix), len(text)):]
	} else {
		text = text[len(prefix):]
	}
	value = strings.TrimSpace(text)
	switch c {
	case VIN:
		note, err = VerifyVIN(value)
	case GS1:
		err = verifyGS1(value)
	}
	return value, note, err
}

// looks tells whether a text without a prefix may be of this check at all.
func (c Check) looks(text string) bool {
	switch c {
	case VIN:
		return LooksVIN(text)
	case GS1:
		return looksGS1(text)
	}
	return false
}

// vinValues holds the value of each character that a VIN may have, at its place: 0 to 9, then A to Z with I, O and Q
// blank (49 CFR 565.15(c), Table III).
const (
	vinCharacters = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
	vinValues     = "012345678912345678 12345 7 923456789"
)

// vinWeights are those of Table IV; the check digit itself weighs nothing.
var vinWeights = [17]int{8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2}

const vinCheckAt = 8

func vinValue(c byte) (int, bool) {
	i := strings.IndexByte(vinCharacters, c)
	if i < 0 || vinValues[i] == ' ' {
		return 0, false
	}
	return int(vinValues[i] - '0'), true
}

// LooksVIN tells whether a text has the 17 characters of a vehicle identification number (ISO 3779).
func LooksVIN(text string) bool {
	if len(text) != len(vinWeights) {
		return false
	}
	for i := range len(text) {
		if _, ok := vinValue(text[i]); !ok {
			return false
		}
	}
	return true
}

// VerifyVIN refuses a wrong check digit where the law wants one, which is in North America: the first character 1 to 5.
func VerifyVIN(text string) (note string, err error) {
	if !LooksVIN(text) {
		return "", errors.New("this is no VIN, which has 17 digits and capital letters without I, O and Q: scan it again")
	}
	sum := 0
	for i := range len(text) {
		v, _ := vinValue(text[i])
		sum += v * vinWeights[i]
	}
	switch {
	case "0123456789X"[sum%11] == text[vinCheckAt]:
		return "", nil
	case text[0] >= '1' && text[0] <= '5':
		return "", errors.New("the check digit of the VIN is wrong: scan it again, or read it from the plate")
	}
	return NoCheckDigit, nil
}

func looksGS1(text string) bool {
	switch len(text) {
	case 8, 12, 13, 14, 18:
		return strings.Trim(text, "0123456789") == ""
	}
	return false
}

// verifyGS1 weighs the digits 1, 3, 1, 3 … from the right, the check digit included.
func verifyGS1(text string) error {
	if !looksGS1(text) {
		return errors.New("this is no GS1 number, which has 8, 12, 13, 14 or 18 digits: scan it again")
	}
	sum, weight := 0, 1
	for i := len(text) - 1; i >= 0; i-- {
		sum += int(text[i]-'0') * weight
		weight = 4 - weight
	}
	if sum%10 != 0 {
		return errors.New("the check digit of the GS1 number is wrong: scan it again")
	}
	return nil
}

// code39 are the characters of Code 39 in the order of their values.
const code39 = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-. $/+%"

// verifyCode39 gives the text without its check character, which may be a blank.
func verifyCode39(text string) (string, error) {
	wrong := errors.New("the check character of the label is wrong: scan it again, or set the scanner to send it")
	if len(text) < 2 {
		return "", wrong
	}
	guarded, sum := text[:len(text)-1], 0
	for i := range len(guarded) {
		v := strings.IndexByte(code39, guarded[i])
		if v < 0 {
			return "", wrong
		}
		sum += v
	}
	if code39[sum%len(code39)] != text[len(guarded)] {
		return "", wrong
	}
	return guarded, nil
}
