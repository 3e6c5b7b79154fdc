package finder

import (
	"strings"
	"testing"

	"witnessmark/device/profile"
)

// What listening costs for each byte that comes at a free port.
func BenchmarkTap_Took(b *testing.B) {
	for name, text := range map[string]string{
		"readings": line(1234, "S1"), "noise without an end": strings.Repeat("\xff", 64), "text without an end": strings.Repeat("A", 64),
	} {
		b.Run(name, func(b *testing.B) {
			board := NewBoard(b.TempDir())
			t := board.newTap("/dev/ttyUSB0", []*profile.Profile{form(b)})
			chunk := []byte(text)
			b.SetBytes(int64(len(chunk)))
			b.ReportAllocs()
			for b.Loop() {
				t.took(chunk)
			}
		})
	}
}
