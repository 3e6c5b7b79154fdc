package port

import (
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"golang.org/x/sys/unix"
	"witnessmark/device/port/plugtest"
)

func TestPlugs(t *testing.T) {
	c := plugtest.NewComputer(t)
	// Two adapters of one kind without serial numbers, and one behind a hub that has one. The second takes the by-id
	// name from the first, which is why that name is no good for them.
	c.Show(plugtest.Adapter{Node: "ttyUSB0", Socket: "1-2:1.0", Maker: "Plain Works", Title: "Serial"})
	c.Show(plugtest.Adapter{Node: "ttyUSB1", Socket: "1-3:1.0", Maker: "Plain Works", Title: "Serial"})
	c.Show(plugtest.Adapter{Node: "ttyUSB10", Socket: "1-4.1:1.1", Serial: "A100", Maker: "Plain Works", Title: "Two ports"})
	c.Show(plugtest.Adapter{Node: "ttyACM0", Socket: "1-4.2:1.0", Serial: "TW-7"})
	c.Builtin("ttyS0", "4")
	c.Builtin("ttyS1", "0")
	c.Builtin("ttyS2", "4")
	c.File("sys/class/tty/console/active", "tty0 ttyS2\n")
	for _, screen := range []string{"tty", "tty1", "ptmx"} {
		c.File("sys/class/tty/"+screen+"/uevent", "DEVNAME="+screen+"\n")
	}
	c.File("sys/class/tty/rfcomm0/address", "00:11:22:33:44:55\n")

	got, err := Plugs(c.Root)
	if err != nil {
		t.Fatal(err)
	}
	at := func(names ...string) (all []string) {
		for _, n := range names {
			all = append(all, filepath.Join(c.Root, "dev", n))
		}
		return all
	}
	const usb = "serial/by-path/pci-0000:00:14.0-usb-0:"
	for i, want := range []Plug{
		{Driver: "serial8250", Node: at("ttyS0")[0]},
		{Driver: "serial8250", Node: at("ttyS2")[0], Console: true},
		{Node: at("ttyACM0")[0], Driver: "cdc_acm", Socket: "1-4.2:1.0", Serial: "TW-7", Vendor: "1209", Product: "0001",
			ByID: at("serial/by-id/usb-__TW-7-if00-port0")[:1], ByPath: at(usb + "4.2:1.0-port0")},
		{Node: at("ttyUSB0")[0], Driver: "plain-uart", Socket: "1-2:1.0", Vendor: "1209", Product: "0001", Maker: "Plain Works", Title: "Serial",
			ByPath: at(usb + "2:1.0-port0")},
		{Node: at("ttyUSB1")[0], Driver: "plain-uart", Socket: "1-3:1.0", Vendor: "1209", Product: "0001", Maker: "Plain Works", Title: "Serial",
			ByID: at("serial/by-id/usb-Plain_Works_Serial-if00-port0"), ByPath: at(usb + "3:1.0-port0")},
		{Node: at("rfcomm0")[0], Driver: "rfcomm", Title: "Bluetooth 00:11:22:33:44:55"},
		{Node: at("ttyUSB10")[0], Driver: "plain-uart", Socket: "1-4.1:1.1", Serial: "A100", Vendor: "1209", Product: "0001", Maker: "Plain Works", Title: "Two ports",
			ByID: at("serial/by-id/usb-Plain_Works_Two_ports_A100-if00-port0"), ByPath: at(usb + "4.1:1.1-port0")},
	} {
		found := false
		for _, p := range got {
			if p.Node == want.Node {
				found = true
				if !reflect.DeepEqual(p, want) {
					t.Errorf("got  %+v\nwant %+v", p, want)
				}
			}
		}
		if !found {
			t.Errorf("%d: got no %s", i, want.Node)
		}
	}
	var order []string
	for _, p := range got {
		order = append(order, filepath.Base(p.Node))
	}
	if got, want := strings.Join(order, " "), "ttyS0 ttyS2 rfcomm0 ttyACM0 ttyUSB0 ttyUSB1 ttyUSB10"; got != want {
		t.Errorf("got the ports %s, want %s", got, want)
	}
}

func TestPlugs_Unreadable(t *testing.T) {
	c := plugtest.NewComputer(t)
	c.Show(plugtest.Adapter{Node: "ttyUSB0", Socket: "1-2:1.0", Serial: "A100"})
	c.Show(plugtest.Adapter{Node: "ttyUSB1", Socket: "1-3:1.0", Serial: "A101", Title: "Serial"})
	c.Builtin("ttyS0", "4")
	// A folder in place of an attribute, and a link that leads to itself, cannot be read by root either.
	const first = "sys/devices/pci0000:00/0000:00:14.0/usb1/1-2/"
	if err := os.Remove(filepath.Join(c.Root, first, "serial")); err != nil {
		t.Fatal(err)
	}
	c.File(first+"serial/x", "")
	c.Link(first+"1-2:1.0/ttyUSB0/driver", "driver")
	c.Link("sys/devices/platform/serial8250/serial8250:0/serial8250:0.0/tty/ttyS0/device", "device")
	got, err := Plugs(c.Root)
	if err != nil || len(got) != 3 {
		t.Fatalf("got %+v, %v, want all three ports", got, err)
	}
	if p := got[1]; p.Socket != "1-2:1.0" || p.Vendor != "1209" || p.Serial != "" || p.Driver != "" ||
		!reflect.DeepEqual(p.Unread, []string{"driver: EvalSymlinks: too many links", "serial: is a directory"}) {
		t.Errorf("got %+v, want what is known of it and what could not be read", p)
	}
	if p := got[0]; p.Driver != "" || len(p.Unread) != 1 {
		t.Errorf("got %+v, want a port of which nothing is known", p)
	}
	if p := got[2]; p.Serial != "A101" || p.Title != "Serial" || p.Unread != nil {
		t.Errorf("got %+v, want the one beside it untouched", p)
	}
}

func TestPlugs_OpensNothing(t *testing.T) {
	c := plugtest.NewComputer(t)
	c.Show(plugtest.Adapter{Node: "ttyUSB0", Socket: "1-2:1.0", Serial: "A100"})
	c.File("dev/ttyUSB0", "")
	watch, err := unix.InotifyInit1(unix.IN_NONBLOCK | unix.IN_CLOEXEC)
	if err != nil {
		t.Fatal(err)
	}
	defer unix.Close(watch)
	if _, err := unix.InotifyAddWatch(watch, filepath.Join(c.Root, "dev/ttyUSB0"), unix.IN_OPEN); err != nil {
		t.Fatal(err)
	}
	if got, err := Plugs(c.Root); err != nil || len(got) != 1 {
		t.Fatalf("got %+v, %v, want the port", got, err)
	}
	if n, err := unix.Read(watch, make([]byte, 512)); err != unix.EAGAIN {
		t.Errorf("got %d bytes of news, %v, want the port left alone", n, err)
	}
}

func TestPlugs_NoUdevAndNoSys(t *testing.T) {
	c := plugtest.NewComputer(t)
	c.Show(plugtest.Adapter{Node: "ttyUSB0", Socket: "1-2:1.0", Serial: "A100"})
	if err := os.RemoveAll(filepath.Join(c.Root, "dev/serial")); err != nil {
		t.Fatal(err)
	}
	if got, err := Plugs(c.Root); err != nil || len(got) != 1 || got[0].Serial != "A100" || got[0].ByID != nil {
		t.Errorf("without udev: got %+v, %v, want the port without stable names", got, err)
	}
	if got, err := Plugs(t.TempDir()); got != nil || err == nil || !strings.Contains(err.Error(), "list the serial ports") {
		t.Errorf("without /sys: got %+v, %v, want an error", got, err)
	}
}

func TestLeads(t *testing.T) {
	c := plugtest.NewComputer(t)
	c.Link("dev/bench", "serial/by-id/one")
	c.Link("dev/serial/by-id/one", "../../ttyUSB1")
	c.Link("dev/ttyUSB1", "/dev/pts/0") // as far as a test's node leads on
	c.Link("dev/ring", "ring")
	c.Link("elsewhere", filepath.Join(c.Root, "dev/bench"))
	all := []Plug{{Node: filepath.Join(c.Root, "dev/ttyUSB0")}, {Node: filepath.Join(c.Root, "dev/ttyUSB1")}}
	for name, want := range map[string]int{
		"dev/ttyUSB0": 0, "dev/ttyUSB1": 1, "dev/serial/by-id/one": 1, "dev/bench": 1, "elsewhere": 1,
		"dev/ring": -1, "dev/none": -1,
	} {
		if got := Leads(filepath.Join(c.Root, name), all); got != want {
			t.Errorf("%s: got %d, want %d", name, got, want)
		}
	}
}
