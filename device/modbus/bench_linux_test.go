package modbus

import (
	"io"
	"log"
	"testing"

	"github.com/simonvetter/modbus"
)

// A poll that finds nothing new, beside the same question of the library alone, over the same loopback server. What
// the poll has on top is the way over 127.0.0.1 to the library and back; a poll comes five times a second.
func BenchmarkPoll(b *testing.B) {
	twelve := three()
	twelve.Count = 12
	u := newUnit()
	u.set(100, 41, 5, 5)
	addr := u.serveTCP(b)
	b.Run("library", func(b *testing.B) {
		c, err := modbus.NewClient(&modbus.ClientConfiguration{URL: "tcp://" + addr, Logger: log.New(io.Discard, "", 0)})
		if err != nil {
			b.Fatal(err)
		}
		if err := c.Open(); err != nil {
			b.Fatal(err)
		}
		defer c.Close()
		b.ReportAllocs()
		for b.Loop() {
			if _, err := c.ReadRawBytes(twelve.From, 2*twelve.Count, modbus.HOLDING_REGISTER); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("port", func(b *testing.B) {
		p := mustOpen(b, mustAt(b, "tcp://"+addr, twelve)).(*Port)
		if _, err := p.poll(); err != nil { // the present reading
			b.Fatal(err)
		}
		b.ReportAllocs()
		for b.Loop() {
			if fresh, err := p.poll(); fresh != nil || err != nil {
				b.Fatal(fresh, err)
			}
		}
	})
}
