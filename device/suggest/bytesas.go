package suggest

import (
	"encoding/binary"
	"encoding/hex"
	"math"
	"strconv"
	"strings"
)

// as is one way to read bytes as a number.
type as struct {
	name   string
	size   int
	order  string // empty: one byte, or digits
	cost   int
	signed bool
	read   func(b []byte) (string, bool)
}

// readings of bytes, the likely ones cheapest. Signed ones come first: a number that turns out larger is then refused,
// where an unsigned one that turns out negative would be taken for a large one.
var waysToRead = []as{
	{"f32", 4, "big", 0, true, func(b []byte) (string, bool) { return float(binary.BigEndian.Uint32(b)) }},
	{"f32", 4, "little", 0, true, func(b []byte) (string, bool) { return float(binary.LittleEndian.Uint32(b)) }},
	{"f32", 4, "word-swapped", 0, true, func(b []byte) (string, bool) { return float(swapped(b)) }},
	{"f64", 8, "big", 0, true, func(b []byte) (string, bool) { return double(binary.BigEndian.Uint64(b)) }},
	{"f64", 8, "little", 0, true, func(b []byte) (string, bool) { return double(binary.LittleEndian.Uint64(b)) }},
	{"i16", 2, "big", 2, true, func(b []byte) (string, bool) { return whole(int64(int16(binary.BigEndian.Uint16(b)))) }},
	{"i16", 2, "little", 2, true, func(b []byte) (string, bool) { return whole(int64(int16(binary.LittleEndian.Uint16(b)))) }},
	{"i32", 4, "big", 3, true, func(b []byte) (string, bool) { return whole(int64(int32(binary.BigEndian.Uint32(b)))) }},
	{"i32", 4, "little", 3, true, func(b []byte) (string, bool) { return whole(int64(int32(binary.LittleEndian.Uint32(b)))) }},
	{"i32", 4, "word-swapped", 4, true, func(b []byte) (string, bool) { return whole(int64(int32(swapped(b)))) }},
	{"u16", 2, "big", 5, false, func(b []byte) (string, bool) { return whole(int64(binary.BigEndian.Uint16(b))) }},
	{"u16", 2, "little", 5, false, func(b []byte) (string, bool) { return whole(int64(binary.LittleEndian.Uint16(b))) }},
	{"u32", 4, "big", 6, false, func(b []byte) (string, bool) { return whole(int64(binary.BigEndian.Uint32(b))) }},
	{"u32", 4, "little", 6, false, func(b []byte) (string, bool) { return whole(int64(binary.LittleEndian.Uint32(b))) }},
	{"bcd2", 2, "", 7, false, packed},
	{"bcd3", 3, "", 7, false, packed},
	{"bcd4", 4, "", 7, false, packed},
	{"u8", 1, "", 9, false, func(b []byte) (string, bool) { return whole(int64(b[0])) }},
}

var oneByte = waysToRead[len(waysToRead)-1]

func whole(v int64) (string, bool) { return strconv.FormatInt(v, 10), true }

func swapped(b []byte) uint32 {
	return uint32(binary.BigEndian.Uint16(b[2:]))<<16 | uint32(binary.BigEndian.Uint16(b))
}

// float is the shortest decimal text of a float; what no wrench measures is none.
func float(v uint32) (string, bool) { return decimal(float64(math.Float32frombits(v)), 32) }

func double(v uint64) (string, bool) { return decimal(math.Float64frombits(v), 64) }

func decimal(v float64, bits int) (string, bool) {
	if math.IsNaN(v) {
		return "NaN", true
	}
	if size := math.Abs(v); size != 0 && size < 1e-4 || !(size < 1e7) {
		return "", false
	}
	return strconv.FormatFloat(v, 'f', -1, bits), true
}

func packed(b []byte) (string, bool) {
	text := hex.EncodeToString(b)
	return text, strings.Trim(text, "0123456789") == ""
}
