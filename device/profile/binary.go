package profile

import (
	"encoding/binary"
	"math"
	"strconv"
	"strings"
)

// number is how a value stands in the bytes of a frame.
type number struct {
	kind   numberKind
	size   int
	order  byteOrder
	turned bool // the order is another one than high byte first
	bits   int  // how many bits of it are meant, 0: all
	shift  int  // the lowest of them
}

type numberKind int

const (
	natural numberKind = iota // u8 u16 u32
	integer                   // i8 i16 i32
	float                     // f32 f64
	packed                    // bcdN: two decimal digits a byte
	textual                   // textN: ASCII
)

// byteOrder is which end of a number comes first.
type byteOrder string

const (
	bigEnd      byteOrder = "big"          // A1 B2 C3 D4
	littleEnd   byteOrder = "little"       // D4 C3 B2 A1
	wordSwapped byteOrder = "word-swapped" // C3 D4 A1 B2: the low register first
)

// plainNumbers are the names without a size of their own.
var plainNumbers = map[string]number{
	"u8": {kind: natural, size: 1}, "u16": {kind: natural, size: 2}, "u32": {kind: natural, size: 4},
	"i8": {kind: integer, size: 1}, "i16": {kind: integer, size: 2}, "i32": {kind: integer, size: 4},
	"f32": {kind: float, size: 4}, "f64": {kind: float, size: 8},
}

const (
	maxPacked  = 8
	maxTextual = 64
)

func numberNamed(name string) (number, bool) {
	if n, ok := plainNumbers[name]; ok {
		return n, true
	}
	for prefix, n := range map[string]number{"bcd": {kind: packed, size: maxPacked}, "text": {kind: textual, size: maxTextual}} {
		if digits, ok := strings.CutPrefix(name, prefix); ok {
			size, err := strconv.Atoi(digits)
			return number{kind: n.kind, size: size}, err == nil && size >= 1 && size <= n.size && digits[0] != '0' && digits[0] != '+'
		}
	}
	return number{}, false
}

// whole tells numbers that hold no digits after a point.
func (n *number) whole() bool {
	return n.size > 0 && (n.kind == natural || n.kind == integer || n.kind == packed)
}

// findBytes looks at the places of the fields, counted from the first byte of the frame.
func (fs *fields) findBytes(f []byte, all *spans) *refusal {
	if len(f) < fs.reach {
		return badForm("found %d bytes, expected at least %d", len(f), fs.reach)
	}
	for i := range fs.list {
		all[i] = fs.list[i].at
	}
	return nil
}

// write puts the value into decimal digits, or gives the text that the bytes are.
func (n *number) write(b []byte, into *numberRoom) (t []byte, why *refusal) {
	switch n.kind {
	case textual:
		for len(b) > 0 && (b[0] == 0 || b[0] == ' ') {
			b = b[1:]
		}
		for len(b) > 0 && (b[len(b)-1] == 0 || b[len(b)-1] == ' ') {
			b = b[:len(b)-1]
		}
		return b, nil
	case packed:
		return n.unpack(b, into)
	case float:
		if n.size == 4 {
			return shortest(float64(math.Float32frombits(uint32(n.load(b)))), 32, into), nil
		}
		return shortest(math.Float64frombits(n.load(b)), 64, into), nil
	}
	return n.count(b).write(into), nil
}

// count reads a whole number in binary.
func (n *number) count(b []byte) decimal {
	v := n.load(b)
	switch {
	case n.bits > 0:
		return decimal{value: v >> n.shift & (1<<n.bits - 1)}
	case n.kind == natural || v>>(8*n.size-1) == 0:
		return decimal{value: v}
	}
	return decimal{minus: true, value: 1<<(8*n.size) - v}
}

// load draws the bytes together, the high one in front.
func (n *number) load(b []byte) (v uint64) {
	if !n.turned {
		for _, c := range b {
			v = v<<8 | uint64(c)
		}
		return v
	}
	var room [8]byte
	high := room[:copy(room[:], b)]
	n.order.turn(high)
	for _, c := range high {
		v = v<<8 | uint64(c)
	}
	return v
}

// turn brings bytes from their order on the wire to the high one first, and back.
func (o byteOrder) turn(b []byte) {
	switch {
	case o == littleEnd:
		for i, j := 0, len(b)-1; i < j; i, j = i+1, j-1 {
			b[i], b[j] = b[j], b[i]
		}
	case o == wordSwapped && len(b) == 4:
		b[0], b[1], b[2], b[3] = b[2], b[3], b[0], b[1]
	}
}

// Floats beyond these are no measurement: neither so large, nor so small that it is anything but nothing.
const (
	largestFloat  = 1e15
	smallestFloat = 1e-12
)

// shortest writes the decimal number with the fewest digits that the bits of a float mean, as IEEE 754 has them.
func shortest(v float64, size int, into *numberRoom) []byte {
	switch {
	case math.IsNaN(v):
		return append(into[:0], "NaN"...)
	case math.Abs(v) > largestFloat:
		return strconv.AppendFloat(into[:0], v, 'g', -1, size)
	case math.Abs(v) < smallestFloat:
		return append(into[:0], '0')
	}
	return strconv.AppendFloat(into[:0], v, 'f', -1, size)
}

func (n *number) unpack(b []byte, into *numberRoom) ([]byte, *refusal) {
	var room [maxPacked]byte
	high := room[:copy(room[:], b)]
	n.order.turn(high)
	t := into[:0]
	for _, c := range high {
		if c>>4 > 9 || c&15 > 9 {
			return nil, badForm("found the bytes %X, expected two decimal digits in each", string(b))
		}
		t = append(t, '0'+c>>4, '0'+c&15)
	}
	return t, nil
}

// read puts text into the bytes of a frame, among whose other bits it leaves what is there; false: it does not go in.
func (n *number) read(t string, b []byte) bool {
	b = b[:n.size]
	switch n.kind {
	case textual:
		copy(b, t)
		return len(t) <= n.size
	case packed:
		return n.pack(t, b)
	case float:
		return n.readFloat(t, b)
	}
	v, ok := n.bound(t)
	if ok {
		n.store(n.load(b)|v<<n.shift, b)
	}
	return ok
}

// bound reads a whole number that the bits can hold.
func (n *number) bound(t string) (v uint64, ok bool) {
	if n.kind == integer {
		s, err := strconv.ParseInt(t, 10, 8*n.size)
		return uint64(s) & (1<<(8*n.size) - 1), err == nil
	}
	width := n.bits
	if width == 0 {
		width = 8 * n.size
	}
	v, err := strconv.ParseUint(t, 10, width)
	return v, err == nil
}

func (n *number) readFloat(t string, b []byte) bool {
	v, err := strconv.ParseFloat(t, 8*n.size)
	if n.size == 4 {
		n.store(uint64(math.Float32bits(float32(v))), b)
	} else {
		n.store(math.Float64bits(v), b)
	}
	return err == nil
}

func (n *number) store(v uint64, b []byte) {
	var room [8]byte
	binary.BigEndian.PutUint64(room[:], v)
	copy(b, room[8-n.size:])
	n.order.turn(b)
}

func (n *number) pack(t string, b []byte) bool {
	if len(t) > 2*n.size || strings.Trim(t, "0123456789") != "" {
		return false
	}
	t = strings.Repeat("0", 2*n.size-len(t)) + t
	for i := range b {
		b[i] = (t[2*i]-'0')<<4 | (t[2*i+1] - '0')
	}
	n.order.turn(b)
	return true
}
