// Package checksum draws the bytes of a frame together into the few that guard it. A cyclic redundancy check goes by
// the name that it has in the published catalogue of CRC algorithms, and by that name only: CRC-16/MODBUS says
// polynomial, beginning, order of bits and final inversion at once, where "CRC-16" says nothing.
package checksum

// Check is one way to guard bytes. It does not change and may be used by several goroutines.
type Check struct {
	name string
	size int
	sum  func([]byte) uint32
}

// Named is the check with that name.
func Named(name string) (*Check, bool) {
	for i := range all {
		if all[i].name == name {
			return &all[i], true
		}
	}
	return nil, false
}

// Names lists the checks in the order in which they are to be named to people: the simple ones, then the cyclic ones
// by width and by how often they are met.
func Names() []string {
	names := make([]string, len(all))
	for i := range all {
		names[i] = all[i].name
	}
	return names
}

// Name is the check's own name in Names.
func (c *Check) Name() string { return c.name }

// Size is how many bytes the check has: 1, 2 or 4.
func (c *Check) Size() int { return c.size }

// Sum is the check over b, in the lowest bits. It allocates nothing.
func (c *Check) Sum(b []byte) uint32 { return c.sum(b) }

var all = append([]Check{
	{"xor", 1, xor},
	{"sum", 1, sum},
	{"sum-negated", 1, negated},
	{"lrc", 1, negated},
}, cyclic()...)

// xor is the block check of ISO 1745 (there over all behind STX, up to and with ETX), which is the longitudinal parity
// of ISO 1155, and the check of NMEA 0183.
func xor(b []byte) uint32 {
	var x byte
	for _, c := range b {
		x ^= c
	}
	return uint32(x)
}

// sum is the sum modulo 256.
func sum(b []byte) uint32 {
	var s byte
	for _, c := range b {
		s += c
	}
	return uint32(s)
}

// negated is the byte that brings the sum to nought: the "LRC" of Modbus ASCII, Intel HEX and many balances. Who calls
// the exclusive or an LRC, as ISO 1155 does, means xor.
func negated(b []byte) uint32 { return uint32(byte(-sum(b))) }
