package checksum

import (
	"encoding/hex"
	"slices"
	"strings"
	"testing"
)

// catalogue holds the check values for the bytes "123456789": the field "check" of the CRC RevEng catalogue (Greg
// Cook). Those of section A are also in public test files that cite it, or were reckoned bit by bit from the listed
// parameters; those of section B are from memory. The simple checks at the end were reckoned by hand.
var catalogue = map[string]uint32{
	// A
	"CRC-8/SMBUS":        0xF4,
	"CRC-8/SAE-J1850":    0x4B,
	"CRC-16/MODBUS":      0x4B37,
	"CRC-16/ARC":         0xBB3D,
	"CRC-16/IBM-3740":    0x29B1,
	"CRC-16/XMODEM":      0x31C3,
	"CRC-16/KERMIT":      0x2189,
	"CRC-16/SPI-FUJITSU": 0xE5CC,
	"CRC-32/ISO-HDLC":    0xCBF43926,
	"CRC-32/ISCSI":       0xE3069283,
	// B
	"CRC-8/MAXIM-DOW":          0xA1,
	"CRC-8/NRSC-5":             0xF7,
	"CRC-8/ROHC":               0xD0,
	"CRC-8/I-432-1":            0xA1,
	"CRC-8/AUTOSAR":            0xDF,
	"CRC-16/IBM-SDLC":          0x906E,
	"CRC-16/USB":               0xB4C8,
	"CRC-16/UMTS":              0xFEE8,
	"CRC-16/MAXIM-DOW":         0x44C2,
	"CRC-16/GENIBUS":           0xD64E,
	"CRC-16/MCRF4XX":           0x6F91,
	"CRC-16/DNP":               0xEA82,
	"CRC-16/EN-13757":          0xC2B7,
	"CRC-16/CDMA2000":          0x4C06,
	"CRC-16/DDS-110":           0x9ECF,
	"CRC-16/DECT-R":            0x007E,
	"CRC-16/DECT-X":            0x007F,
	"CRC-16/ISO-IEC-14443-3-A": 0xBF05,
	"CRC-16/RIELLO":            0x63D0,
	"CRC-16/T10-DIF":           0xD0DB,
	"CRC-16/TELEDISK":          0x0FB3,
	"CRC-16/TMS37157":          0x26B1,
	"CRC-32/MPEG-2":            0x0376E6E7,
	"CRC-32/BZIP2":             0xFC891918,
	"CRC-32/JAMCRC":            0x340BC6D9,
	// 31h…39h: the exclusive or is 31h, the sum 477 is DDh modulo 256
	"xor":         0x31,
	"sum":         0xDD,
	"sum-negated": 0x23,
	"lrc":         0x23,
}

func TestCheck_CatalogueValues(t *testing.T) {
	for _, name := range Names() {
		c, ok := Named(name)
		if !ok || c.Name() != name {
			t.Fatalf("got no check %q, want every name of Names to have one", name)
		}
		want, listed := catalogue[name]
		if got := c.Sum([]byte("123456789")); !listed || got != want {
			t.Errorf("%s: got %0*X, want %0*X (listed: %t)", name, 2*c.Size(), got, 2*c.Size(), want, listed)
		}
	}
	if got, want := len(Names()), len(catalogue); got != want {
		t.Errorf("got %d names, want the %d listed", got, want)
	}
}

func TestCheck_FitsItsSize(t *testing.T) {
	for _, name := range Names() {
		c, _ := Named(name)
		want := 1
		switch {
		case strings.HasPrefix(name, "CRC-16/"):
			want = 2
		case strings.HasPrefix(name, "CRC-32/"):
			want = 4
		}
		if c.Size() != want {
			t.Errorf("%s: got size %d, want %d", name, c.Size(), want)
		}
		if want == 4 {
			continue
		}
		for i := range 256 {
			if got := c.Sum([]byte{byte(i), 0xA5}); got>>(8*want) != 0 {
				t.Errorf("%s: got %X, want no more than %d bytes", name, got, want)
			}
		}
	}
}

// Published frames and sentences, the value as it is written there: the register of a CRC, not the order on the wire.
func TestCheck_PublishedFrames(t *testing.T) {
	for _, c := range []struct{ check, source, over, want string }{
		{"CRC-16/MODBUS", "Modbus over Serial Line V1.02, the worked example, from memory", "0207", "1241"},
		{"CRC-16/MODBUS", "widely published example of reading coils", "110100130025", "840E"},
		{"CRC-16/MODBUS", "its answer", "110105CD6BB20E1B", "E645"},
		{"CRC-16/MODBUS", "Modbus Application Protocol, section 6.3, for unit 17", "1103006B0003", "8776"},
		{"CRC-16/MODBUS", "tests of github.com/simonvetter/modbus v1.6.4", "0102030405", "BB2A"},
		{"CRC-16/MODBUS", "the same", "010203040506", "DDBA"},
		{"CRC-16/MODBUS", "empty input: the beginning of the register (CRC RevEng catalogue)", "", "FFFF"},
		{"CRC-16/SPI-FUJITSU", "the same", "", "1D0F"},
		{"CRC-8/SAE-J1850", "the same, inverted at the end", "", "00"},
		{"CRC-32/ISO-HDLC", "the same", "", "00000000"},
		{"lrc", "Modbus ASCII, :1103006B00037E", "1103006B0003", "7E"},
		{"lrc", "Modbus ASCII, reckoned by hand", "010300000001", "FB"},
		{"lrc", "Modbus ASCII, reckoned by hand", "110306022B00000064", "55"},
		{"xor", "NMEA 0183, widely published sentence, from memory",
			hexOf("GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,"), "47"},
		{"xor", "the same", hexOf("GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W"), "6A"},
		{"xor", "the same", hexOf("GPGLL,4916.45,N,12311.12,W,225444,A,"), "1D"},
		{"xor", "ISO 1745 block check, behind STX up to and with ETX, reckoned by hand", hexOf("ABC\x03"), "43"},
		{"xor", "the same", hexOf("TQ=12.50\x03"), "13"},
	} {
		t.Run(c.check+" "+c.source, func(t *testing.T) {
			check, ok := Named(c.check)
			if !ok {
				t.Fatalf("got no check %q", c.check)
			}
			b, err := hex.DecodeString(c.over)
			if err != nil {
				t.Fatal(err)
			}
			want, err := hex.DecodeString(c.want)
			if err != nil || len(want) != check.Size() {
				t.Fatalf("got size %d, want that of %s, %v", check.Size(), c.want, err)
			}
			got := check.Sum(b)
			for i := range want {
				if by := byte(got >> (8 * (len(want) - 1 - i))); by != want[i] {
					t.Fatalf("got %X, want %s", got, c.want)
				}
			}
		})
	}
}

func hexOf(text string) string { return hex.EncodeToString([]byte(text)) }

// A frame with its check behind it comes to the same remainder whatever stands in it: the property that the shift
// registers of the other side rely on. It holds for the order in which the register is shifted out.
func TestCheck_RemainderIsConstant(t *testing.T) {
	for _, name := range []string{"CRC-8/SMBUS", "CRC-8/MAXIM-DOW", "CRC-16/MODBUS", "CRC-16/XMODEM", "CRC-16/IBM-SDLC", "CRC-32/ISO-HDLC", "CRC-32/MPEG-2"} {
		c, _ := Named(name)
		lowFirst := slices.Contains([]string{"CRC-16/MODBUS", "CRC-16/IBM-SDLC", "CRC-32/ISO-HDLC"}, name)
		remainder := func(text string) uint32 {
			b, crc := []byte(text), c.Sum([]byte(text))
			for i := range c.Size() {
				shift := 8 * (c.Size() - 1 - i)
				if lowFirst {
					shift = 8 * i
				}
				b = append(b, byte(crc>>shift))
			}
			return c.Sum(b)
		}
		if got, want := remainder("T+045.2"), remainder("another, longer text"); got != want {
			t.Errorf("%s: got remainder %X, want %X as for another text", name, got, want)
		}
	}
}

func TestNamed_OnlyThePublishedName(t *testing.T) {
	for _, name := range []string{"CRC-16", "CRC-16/CCITT-FALSE", "crc-16/modbus", "CRC-16/X-25", ""} {
		if c, ok := Named(name); ok {
			t.Errorf("got %s for %q, want none", c.Name(), name)
		}
	}
}

func TestCheck_NoAllocation(t *testing.T) {
	b := []byte("123456789")
	var total uint32
	for _, name := range Names() {
		c, _ := Named(name)
		if got := testing.AllocsPerRun(20, func() { total += c.Sum(b) }); got != 0 {
			t.Errorf("%s: got %g allocations, want none", name, got)
		}
	}
}

func BenchmarkSum(b *testing.B) {
	frame := make([]byte, 64)
	for _, name := range []string{"xor", "sum", "CRC-8/SMBUS", "CRC-16/MODBUS", "CRC-32/ISO-HDLC", "CRC-32/MPEG-2"} {
		c, _ := Named(name)
		b.Run(name, func(b *testing.B) {
			b.SetBytes(int64(len(frame)))
			for b.Loop() {
				c.Sum(frame)
			}
		})
	}
}
