package profile

import (
	"encoding/hex"
	"fmt"
	"strings"

	"witnessmark/device"
)

// checkKind is how the bytes of a frame are drawn together into one.
type checkKind string

// xor is the block check of ISO 1745 and the check of NMEA 0183; sum is the sum of the bytes modulo 256.
const (
	checkNone checkKind = "none"
	checkXor  checkKind = "xor"
	checkSum  checkKind = "sum"
)

// span is which bytes the check covers:
//
//	#1042;045.2;Nm*5C
//	 <─ inside ──>        between lead and mark, as NMEA 0183 has it
//	 <─ through ──>       and the mark with them, as ISO 1745 has it
//	<─── line ───>        all before the mark
type span string

const (
	spanInside  span = "inside"
	spanThrough span = "through"
	spanLine    span = "line"
)

// check guards a line: behind the body stand the mark and two hexadecimal digits.
type check struct {
	kind checkKind
	over span
	mark string
}

const checkDigits = 2

// strip verifies the check of a line and gives what stands before the mark.
func (c check) strip(line string, lead int) (string, *refusal) {
	if c.kind == checkNone {
		return line, nil
	}
	end := len(line) - checkDigits
	if end < lead || !strings.HasSuffix(line[lead:end], c.mark) {
		return "", badForm("found no check at the end of the line, expected %q and two hexadecimal digits", c.mark)
	}
	body := line[:end-len(c.mark)]
	sent, err := hex.DecodeString(line[end:])
	if err != nil {
		return "", badForm("found check %q, expected two hexadecimal digits", line[end:])
	}
	if made := c.of(body, lead); sent[0] != made {
		return "", &refusal{device.ReasonChecksum, fmt.Sprintf("found check %02X, expected %02X", sent[0], made)}
	}
	return body, nil
}

// seal is the inverse of strip.
func (c check) seal(body string, lead int) string {
	if c.kind == checkNone {
		return body
	}
	return fmt.Sprintf("%s%s%02X", body, c.mark, c.of(body, lead))
}

func (c check) of(body string, lead int) byte {
	covered := body[lead:]
	switch c.over {
	case spanThrough:
		covered += c.mark
	case spanLine:
		covered = body
	}
	var b byte
	for i := range len(covered) {
		if c.kind == checkXor {
			b ^= covered[i]
		} else {
			b += covered[i]
		}
	}
	return b
}
