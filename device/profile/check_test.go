package profile

import (
	"testing"

	"witnessmark/device/checksum"
)

// NMEA 0183 sentences and the block check of ISO 1745, from memory; recomputed by hand.
func TestCheck(t *testing.T) {
	for _, c := range []struct {
		kind       string
		over       cover
		mark       string
		lead, body string
		want       string
	}{
		{"xor", coverInside, "*", "$", "GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,", "47"},
		{"xor", coverInside, "*", "$", "GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W", "6A"},
		{"xor", coverInside, "*", "$", "GPGLL,4916.45,N,12311.12,W,225444,A,", "1D"},
		{"xor", coverThrough, "\x03", "\x02", "ABC", "43"},
		{"xor", coverThrough, "\x03", "\x02", "TQ=12.50", "13"},
		{"xor", coverLine, "", "", "123456789", "31"},
		{"sum", coverLine, "", "", "123456789", "DD"},
		{"xor", coverLine, "*", "#", "123456789", "12"}, // 31h and the lead's 23h
	} {
		sum, _ := checksum.Named(c.kind)
		check := check{sum: sum, over: c.over, mark: []byte(c.mark), hex: true, inner: len(c.lead)}
		line, lead := []byte(c.lead+c.body+c.mark+"??"), len(c.lead)
		if ok := check.seal(line, 0, len(line), lead); !ok || string(line) != c.lead+c.body+c.mark+c.want {
			t.Errorf("%s over %s: got %q, want %s at its end", c.kind, c.over, line, c.want)
		}
		if from, to, why := check.strip(line, 0, len(line), lead); why != nil || string(line[from:to]) != c.lead+c.body {
			t.Errorf("%q: got %q, %v, want what was sealed", line, line[from:to], why)
		}
	}
}
