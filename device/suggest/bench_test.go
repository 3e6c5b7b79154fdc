package suggest

import (
	"fmt"
	"testing"
)

// BenchmarkPropose is what a person waits for: a long capture, of which a few pulls were written down.
func BenchmarkPropose(b *testing.B) {
	for _, n := range []int{10, 500} {
		b.Run(fmt.Sprintf("%d lines", n), func(b *testing.B) {
			var frames [][]byte
			var shown []Shown
			for i := range n {
				torque, angle := fmt.Sprintf("%d.%d", 30+i%70, i%10), fmt.Sprintf("%d.%d", 10+i%80, i%7)
				body := fmt.Sprintf("%d;%s;Nm;%s;R;2026-01-17T09:41:%02d;M%d", i, torque, angle, i%60, i%12)
				frames = append(frames, fmt.Appendf(nil, "#%s*%02X\r\n", body, check(b, "xor", []byte(body))))
				if i%(n/4) == 1 {
					s, err := ParseShown(torque + " N·m, " + angle + "°")
					if err != nil {
						b.Fatal(err)
					}
					shown = append(shown, s)
				}
			}
			c := recorded(frames...)
			for b.Loop() {
				if _, err := Propose(c, shown, Asked{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
