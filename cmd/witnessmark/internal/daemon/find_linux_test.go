package daemon

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"witnessmark/audit"
	"witnessmark/device"
	"witnessmark/device/port/plugtest"
	"witnessmark/device/profile"
	"witnessmark/device/unit"
)

// soughtFile is a configuration of two wrenches that are found by what they speak.
const soughtFile = `format: witnessmark/config/1
shop: {id: north, name: North engine shop}
listen: 127.0.0.1:0
benches:
  - {id: "1", wrenches: [TW-01, TW-02]}
wrenches:
  - {id: TW-01, profile: bar-hex-crc16, find: {speaks: "01"}}
  - {id: TW-02, profile: bar-hex-crc16, find: {speaks: "02"}}
`

// startOn runs a daemon on a computer of the test until that ends.
func startOn(t *testing.T, c *plugtest.Computer, data, file string) *Daemon {
	t.Helper()
	return startTelling(t, data, file, t.Output(), func(o *Options) { o.Root = c.Root })
}

// speaks gives a reading as the wrench with this serial number sends it, and what it is told then.
func speaks(t *testing.T, serial string, count int64) (line, ack string) {
	t.Helper()
	p, err := profile.Builtin("bar-hex-crc16")
	if err != nil {
		t.Fatal(err)
	}
	angle := 31 * unit.Degree
	r := device.Reading{Torque: 40*unit.NewtonMetre + unit.Torque(count)*unit.NewtonMetre/10, Unit: unit.Nm, Angle: &angle, Direction: device.Tighten,
		Counter: &count, Clock: fmt.Sprintf("202605040800%02d", count), Serial: serial}
	return string(p.Encode(r)), fmt.Sprintf("\x06%s|%d\x04", serial, count)
}

// twins are two equal adapters without serial numbers. Who was plugged in first has the lower number.
func twins(c *plugtest.Computer, sockets ...string) (all []*plugtest.Socket) {
	for i, s := range sockets {
		all = append(all, c.Plug(plugtest.Adapter{Node: fmt.Sprintf("ttyUSB%d", i), Socket: s, Maker: "Plain Works", Title: "Serial"}))
	}
	return all
}

// where is what the list of wrenches says of each.
func where(d *Daemon) (all []string) {
	for _, w := range d.Wrenches() {
		all = append(all, w.Where)
	}
	return all
}

// recorded are the readings in the journal, as wrench and count.
func recorded(t *testing.T, d *Daemon) (all []string) {
	t.Helper()
	entries, err := d.journal.Read(1, 1000)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if r, is := e.Event.(audit.ReadingTaken); is {
			all = append(all, fmt.Sprintf("%s %s %d", r.Wrench, r.Serial, *r.Counter))
		}
	}
	return all
}

// Whatever is pulled out and comes back elsewhere, the history stays with the wrench, and what a wrench sends again at
// another port is known.
func TestF03_TwoEqualAdapters(t *testing.T) {
	c := plugtest.NewComputer(t)
	data := t.TempDir()
	d := startOn(t, c, data, away(soughtFile))
	if got, want := d.Wrenches()[0].Port, "a wrench that says the serial number 01"; got != want {
		t.Errorf("got %q, want it said what is looked for: %q", got, want)
	}
	told := func(s *plugtest.Socket, serial string, count int64) {
		t.Helper()
		line, ack := speaks(t, serial, count)
		s.Send(line)
		s.Expect(ack)
	}
	both := twins(c, "1-2:1.0", "1-3:1.0")
	told(both[0], "02", 1)
	told(both[1], "01", 1)
	if got, want := where(d), []string{"by the serial number it speaks, at " + both[1].Path, "by the serial number it speaks, at " + both[0].Path}; !slices.Equal(got, want) {
		t.Errorf("got them %q, want them %q", got, want)
	}

	// Pulled out, and back the other way round under each other's numbers.
	both[0].Unplug()
	both[1].Unplug()
	both = twins(c, "1-3:1.0", "1-2:1.0")
	told(both[0], "01", 1) // its acknowledgement was lost, it thinks
	told(both[0], "01", 2)
	told(both[1], "02", 2)

	// Swapped behind the adapters, which stay where they are.
	told(both[0], "02", 3)
	told(both[1], "01", 3)

	// A new daemon knows no ports, but what came before.
	stopDaemon(t, d)
	d = startOn(t, c, data, away(soughtFile))
	told(both[1], "01", 3)
	told(both[0], "02", 4)
	want := []string{"TW-02 02 1", "TW-01 01 1", "TW-01 01 2", "TW-02 02 2", "TW-02 02 3", "TW-01 01 3", "TW-02 02 4"}
	if got := recorded(t, d); !slices.Equal(got, want) {
		t.Errorf("got %q recorded, want %q", got, want)
	}
}

// reasoned waits until the first wrench is missed for a reason that says this.
func reasoned(t *testing.T, d *Daemon, says string) string {
	t.Helper()
	for limit := time.Now().Add(20 * time.Second); ; time.Sleep(10 * time.Millisecond) {
		reason := d.Wrenches()[0].Reason
		if strings.Contains(reason, says) {
			return reason
		}
		if time.Now().After(limit) {
			t.Fatalf("got %q, want it said that %s", reason, says)
		}
	}
}

func TestDaemon_Strangers(t *testing.T) {
	c := plugtest.NewComputer(t)
	d := startOn(t, c, t.TempDir(), away(soughtFile))
	both := twins(c, "1-2:1.0", "1-3:1.0")
	stranger, _ := speaks(t, "77", 1)
	both[0].Send(stranger)
	reasoned(t, d, "a wrench that says the serial number 77 is plugged in at "+both[0].Path)
	line, ack := speaks(t, "01", 1)
	both[1].Send(line)
	both[1].Expect(ack)
	t.Run("one that speaks at the port of another is refused", func(t *testing.T) {
		line, ack := speaks(t, "01", 2)
		both[1].Send(stranger + line)
		both[1].Expect(ack) // and nothing before it
		if got, want := recorded(t, d), []string{"TW-01 01 1", "TW-01 01 2"}; !slices.Equal(got, want) {
			t.Errorf("got %q recorded, want %q", got, want)
		}
		if got := d.Wrenches()[0].Refused[device.ReasonStranger]; got != 1 {
			t.Errorf("got %d refused as those of a stranger, want 1", got)
		}
	})
}

// The ports that the configuration names are left to whom they belong to.
func TestDaemon_ListensAtFreePortsOnly(t *testing.T) {
	c := plugtest.NewComputer(t)
	all := twins(c, "1-2:1.0", "1-3:1.0", "1-4:1.0")
	d := startOn(t, c, t.TempDir(), away(strings.Replace(soughtFile, "[TW-01, TW-02]", "[TW-01, TW-02, TW-03]", 1))+
		"  - {id: TW-03, profile: semicolon-xor, port: "+all[1].Path+"}\nscanners:\n"+
		"  - {id: S-1, bench: \"1\", port: "+all[2].Path+", labels: {badge: {prefix: \"B-\"}}}\n")
	if got, want := reasoned(t, d, "listening at"), "listening at "+all[0].Path+", so pull"; !strings.Contains(got, want) || strings.Contains(got, "cannot be listened at") {
		t.Errorf("got %q, want it %s and nowhere else", got, want)
	}
	for !d.Wrenches()[2].Up || !d.Scanners()[0].Up {
		time.Sleep(10 * time.Millisecond)
	}
}
