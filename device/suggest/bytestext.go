package suggest

import (
	"encoding/binary"
	"fmt"
	"slices"
	"strings"
	"time"

	"witnessmark/device/unit"
)

// unitText is two to four characters that spell a unit of torque in every frame, blanks and NUL behind it not counted.
func (l *bytesAt) unitText(at int) (column, bool) {
	for size := 4; size >= 2; size-- {
		c, ok := l.column(at, as{name: fmt.Sprintf("text%d", size), size: size, read: func(b []byte) (string, bool) {
			text := strings.Trim(string(b), "\x00 ")
			_, err := unit.ParseTorqueUnit(text)
			return text, err == nil
		}})
		if ok && !c.gaps() {
			return c, true
		}
	}
	return column{}, false
}

// text is a run of at least four printable characters that begins here, in every frame.
func (l *bytesAt) text(at int) (column, bool) {
	size := 0
	for at+size < l.short+l.to && l.all(at+size, func(b byte) bool { return b > ' ' && b <= '~' }) {
		size++
	}
	if size < 4 {
		return column{}, false
	}
	return l.column(at, as{name: fmt.Sprintf("text%d", size), size: size, read: func(b []byte) (string, bool) { return string(b), true }})
}

func (l *bytesAt) all(at int, test func(byte) bool) bool {
	for _, f := range l.frames {
		if !test(f[at]) {
			return false
		}
	}
	return true
}

// Seconds since 1970 that a clock of today may show: from 2015 up to 2060.
const (
	earliest = 1_420_070_400
	latest   = 2_840_140_800
)

func (l *bytesAt) unixTime(at int) (column, bool) {
	for _, order := range []string{"big", "little"} {
		w := as{name: "u32", size: 4, order: order, read: func(b []byte) (string, bool) {
			v := binary.BigEndian.Uint32(b)
			if order == "little" {
				v = binary.LittleEndian.Uint32(b)
			}
			return time.Unix(int64(v), 0).UTC().Format(time.RFC3339), v >= earliest && v < latest
		}}
		if c, ok := l.column(at, w); ok && slices.IsSorted(c.cells) && len(c.distinct()) > 1 {
			c.place += ", epoch: unix"
			return c, true
		}
	}
	return column{}, false
}

// packedClock is year, month, day, hour, minute and second, two digits each.
func (l *bytesAt) packedClock(at int) (column, bool) {
	return l.column(at, as{name: "bcd6", size: 6, read: func(b []byte) (string, bool) {
		text, ok := packed(b)
		if !ok {
			return "", false
		}
		_, err := time.Parse("060102150405", text)
		return text, err == nil && b[0] >= 0x10
	}})
}
