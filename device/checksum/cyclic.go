package checksum

import (
	"hash/crc32"
	"math/bits"

	"github.com/sigurn/crc16"
)

// width8 are the catalogue's algorithms of 8 bits, drawn as for 16: what would stand in the low byte stands in the high
// one. A register of 16 bits whose polynomial has nothing in its low byte is one of 8 bits, so that one table does both.
var width8 = []crc16.Params{
	{Name: "CRC-8/SMBUS", Poly: 0x0700},
	{Name: "CRC-8/MAXIM-DOW", Poly: 0x3100, RefIn: true, RefOut: true},
	{Name: "CRC-8/SAE-J1850", Poly: 0x1D00, Init: 0xFF00, XorOut: 0xFF00},
	{Name: "CRC-8/NRSC-5", Poly: 0x3100, Init: 0xFF00},
	{Name: "CRC-8/ROHC", Poly: 0x0700, Init: 0xFF00, RefIn: true, RefOut: true},
	{Name: "CRC-8/I-432-1", Poly: 0x0700, XorOut: 0x5500},
	{Name: "CRC-8/AUTOSAR", Poly: 0x2F00, Init: 0xFF00, XorOut: 0xFF00},
}

// width16 are the library's algorithms by the names that the catalogue has today; the library keeps older ones.
var width16 = []struct {
	name   string
	params crc16.Params
}{
	{"CRC-16/MODBUS", crc16.CRC16_MODBUS},
	{"CRC-16/IBM-3740", crc16.CRC16_CCITT_FALSE},
	{"CRC-16/XMODEM", crc16.CRC16_XMODEM},
	{"CRC-16/ARC", crc16.CRC16_ARC},
	{"CRC-16/KERMIT", crc16.CRC16_KERMIT},
	{"CRC-16/IBM-SDLC", crc16.CRC16_X_25},
	{"CRC-16/SPI-FUJITSU", crc16.CRC16_AUG_CCITT},
	{"CRC-16/USB", crc16.CRC16_USB},
	{"CRC-16/UMTS", crc16.CRC16_BUYPASS},
	{"CRC-16/MAXIM-DOW", crc16.CRC16_MAXIM},
	{"CRC-16/GENIBUS", crc16.CRC16_GENIBUS},
	{"CRC-16/MCRF4XX", crc16.CRC16_MCRF4XX},
	{"CRC-16/DNP", crc16.CRC16_DNP},
	{"CRC-16/EN-13757", crc16.CRC16_EN_13757},
	{"CRC-16/CDMA2000", crc16.CRC16_CDMA2000},
	{"CRC-16/DDS-110", crc16.CRC16_DDS_110},
	{"CRC-16/DECT-R", crc16.CRC16_DECT_R},
	{"CRC-16/DECT-X", crc16.CRC16_DECT_X},
	{"CRC-16/ISO-IEC-14443-3-A", crc16.CRC16_CRC_A},
	{"CRC-16/RIELLO", crc16.CRC16_RIELLO},
	{"CRC-16/T10-DIF", crc16.CRC16_T10_DIF},
	{"CRC-16/TELEDISK", crc16.CRC16_TELEDISK},
	{"CRC-16/TMS37157", crc16.CRC16_TMS37157},
}

func cyclic() (checks []Check) {
	for _, p := range width8 {
		checks = append(checks, Check{p.Name, 1, cyclic8(p)})
	}
	for _, w := range width16 {
		table := crc16.MakeTable(w.params)
		checks = append(checks, Check{w.name, 2, func(b []byte) uint32 { return uint32(crc16.Checksum(b, table)) }})
	}
	castagnoli := crc32.MakeTable(crc32.Castagnoli)
	return append(checks,
		Check{"CRC-32/ISO-HDLC", 4, crc32.ChecksumIEEE},
		Check{"CRC-32/MPEG-2", 4, mpeg2},
		Check{"CRC-32/BZIP2", 4, func(b []byte) uint32 { return ^mpeg2(b) }},
		Check{"CRC-32/ISCSI", 4, func(b []byte) uint32 { return crc32.Checksum(b, castagnoli) }},
		Check{"CRC-32/JAMCRC", 4, func(b []byte) uint32 { return ^crc32.ChecksumIEEE(b) }},
	)
}

func cyclic8(p crc16.Params) func([]byte) uint32 {
	// Turned round as 16 bits, the high byte comes to stand in the low one; the final inversion is therefore ours.
	final := byte(p.XorOut >> 8)
	p.XorOut = 0
	table := crc16.MakeTable(p)
	return func(b []byte) uint32 {
		crc := crc16.Checksum(b, table)
		if !p.RefOut {
			crc >>= 8
		}
		return uint32(byte(crc) ^ final)
	}
}

// mpeg2 goes through the bits from the highest, as the CRC units of small controllers do; hash/crc32 cannot. Its table
// holds the polynomials of hash/crc32 mirrored.
func mpeg2(b []byte) uint32 {
	crc := ^uint32(0)
	for _, c := range b {
		crc = crc<<8 ^ mpeg2Table[byte(crc>>24)^c]
	}
	return crc
}

var mpeg2Table = func() (table [256]uint32) {
	for i, mirrored := range crc32.IEEETable {
		table[bits.Reverse8(byte(i))] = bits.Reverse32(mirrored)
	}
	return table
}()
