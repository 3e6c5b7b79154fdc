package plugtest

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Computer is a /sys and a /dev of its own in a temporary folder, laid out as Linux does it. What is plugged in gets
// the names that the kernel and udev would give it.
type Computer struct {
	Root string
	t    testing.TB
}

// Adapter is a USB adapter with one serial port, or one port of an adapter with several.
type Adapter struct {
	Node   string // ttyUSB0, ttyACM1 …
	Socket string // as the kernel numbers it, with the interface: 1-2:1.0, or 1-2.4:1.0 behind a hub
	Serial string // empty: the adapter has none
	Maker  string
	Title  string
}

// NewComputer makes a computer with nothing plugged in.
func NewComputer(t testing.TB) *Computer {
	t.Helper()
	c := &Computer{Root: t.TempDir(), t: t}
	for _, dir := range []string{"sys/class/tty", "dev/serial"} {
		c.must(os.MkdirAll(filepath.Join(c.Root, dir), 0o755))
	}
	return c
}

// Plug plugs an adapter in, with a wrench at its other end.
func (c *Computer) Plug(a Adapter) *Socket {
	c.t.Helper()
	hide := c.Show(a)
	s := &Socket{Path: filepath.Join(c.Root, "dev", a.Node), t: c.t, hide: hide}
	c.t.Cleanup(s.Unplug)
	s.Plug()
	return s
}

// Show makes the entries of an adapter without its node; hide takes them away. A stable name that another adapter has
// is taken over, as udev does it.
func (c *Computer) Show(a Adapter) (hide func()) {
	c.t.Helper()
	socket, face, _ := strings.Cut(a.Socket, ":")
	usb := "sys/devices/pci0000:00/0000:00:14.0/usb" + socket[:1] + "/" + socket
	for name, text := range map[string]string{"idVendor": "1209", "idProduct": "0001", "serial": a.Serial, "manufacturer": a.Maker, "product": a.Title} {
		c.forget(usb + "/" + name) // of the one that was in the socket before
		if text != "" {
			c.File(usb+"/"+name, text+"\n")
		}
	}
	device := usb + "/" + a.Socket
	driver := "usb/drivers/cdc_acm"
	if strings.HasPrefix(a.Node, "ttyUSB") {
		device, driver = device+"/"+a.Node, "usb-serial/drivers/plain-uart"
	}
	tty := c.tty(a.Node, device, driver)
	chain := "pci-0000:00:14.0-usb-0:" + socket[2:] + ":" + face + "-port0"
	name := "usb-" + strings.ReplaceAll(strings.Join([]string{a.Maker, a.Title}, "_"), " ", "_")
	if a.Serial != "" {
		name += "_" + a.Serial
	}
	byID := "dev/serial/by-id/" + name + "-if00-port0"
	c.Link("dev/serial/by-path/"+chain, "../../"+a.Node)
	c.Link(byID, "../../"+a.Node)
	return func() {
		c.forget(tty)
		c.forget("dev/serial/by-path/" + chain)
		if to, _ := os.Readlink(filepath.Join(c.Root, byID)); to == "../../"+a.Node {
			c.forget(byID)
		}
	}
}

// Builtin makes a port of the computer itself, by the type of its UART: 0 is room for one that is not there.
func (c *Computer) Builtin(node, kind string) {
	c.t.Helper()
	device := "sys/devices/platform/serial8250/serial8250:0/serial8250:0." + node[4:]
	c.tty(node, device, "serial-base/drivers/port")
	c.bound(filepath.Dir(device), "serial-base/drivers/ctrl")
	c.bound(filepath.Dir(filepath.Dir(device)), "platform/drivers/serial8250")
	c.File(device+"/tty/"+node+"/type", kind+"\n")
}

// tty makes a terminal of a device that a driver serves, and gives its entry among all terminals.
func (c *Computer) tty(node, device, driver string) (entry string) {
	c.t.Helper()
	folder := device + "/tty/" + node
	c.File(folder+"/uevent", "DEVNAME="+node+"\n")
	c.Link(folder+"/device", "../../../"+filepath.Base(device))
	c.bound(device, driver)
	entry = "sys/class/tty/" + node
	c.Link(entry, "../../../"+folder)
	return entry
}

func (c *Computer) bound(device, driver string) {
	c.t.Helper()
	c.must(os.MkdirAll(filepath.Join(c.Root, "sys/bus", driver), 0o755))
	c.Link(device+"/driver", strings.Repeat("../", strings.Count(device, "/"))+"bus/"+driver)
}

// File writes a file, and the folders that it lies in.
func (c *Computer) File(name, text string) {
	c.t.Helper()
	path := filepath.Join(c.Root, name)
	c.must(os.MkdirAll(filepath.Dir(path), 0o755))
	c.must(os.WriteFile(path, []byte(text), 0o644))
}

// Link makes a symbolic link, in place of another one of that name.
func (c *Computer) Link(name, to string) {
	c.t.Helper()
	path := filepath.Join(c.Root, name)
	c.must(os.MkdirAll(filepath.Dir(path), 0o755))
	c.forget(name)
	c.must(os.Symlink(to, path))
}

func (c *Computer) forget(name string) {
	c.t.Helper()
	if err := os.Remove(filepath.Join(c.Root, name)); !os.IsNotExist(err) {
		c.must(err)
	}
}

func (c *Computer) must(err error) {
	if err != nil {
		c.t.Helper()
		c.t.Fatal(err)
	}
}
