package port

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Plug is one serial port as the system shows it, and what is plugged in there. What the system does not tell is empty.
type Plug struct {
	Node    string   `json:"node"`              // the device, e.g. /dev/ttyUSB0: who comes first gets the lowest number
	ByID    []string `json:"by_id,omitempty"`   // stable names after the adapter; equal adapters without a serial number share one
	ByPath  []string `json:"by_path,omitempty"` // stable names after the socket
	Socket  string   `json:"socket,omitempty"`  // the USB socket and the interface in it, e.g. 1-2.4:1.0
	Serial  string   `json:"serial,omitempty"`  // the serial number of the USB adapter
	Vendor  string   `json:"vendor,omitempty"`  // USB numbers of maker and product, four hexadecimal digits each
	Product string   `json:"product,omitempty"`
	Maker   string   `json:"maker,omitempty"` // what the adapter calls its maker and itself
	Title   string   `json:"title,omitempty"`
	Driver  string   `json:"driver,omitempty"`
	Console bool     `json:"console,omitempty"` // the system itself writes here
	Unread  []string `json:"unread,omitempty"`  // what could not be read, for people
}

// USB says that it is plugged into a USB socket, and not part of the computer.
func (p Plug) USB() bool { return p.Vendor != "" }

// Plugs lists the serial ports that are there, by /sys and /dev/serial under root (empty: /). It opens none of them.
// A port of which something cannot be read is listed with what is known. The order is that of the nodes, ttyUSB2
// before ttyUSB10.
//
//	/sys/class/tty/ttyUSB0 → ../../devices/pci0000:00/0000:00:14.0/usb1/1-2/1-2:1.0/ttyUSB0/tty/ttyUSB0
//	    device ───────────────────────────────────────────────────────────────────→ │ its driver is the adapter's
//	                                                           │   └ the interface  └ not there for a ttyACM
//	                                                           └ the adapter: idVendor, idProduct, serial …
func Plugs(root string) ([]Plug, error) {
	if root == "" {
		root = "/"
	}
	class := filepath.Join(root, "sys", "class", "tty")
	terminals, err := os.ReadDir(class)
	if err != nil {
		return nil, fmt.Errorf("list the serial ports: %w", err)
	}
	consoles, _ := os.ReadFile(filepath.Join(class, "console", "active")) // a kernel without consoles has no such file
	var all []Plug
	for _, t := range terminals {
		s := &sight{root: root, folder: filepath.Join(class, t.Name())}
		if !s.isPort() {
			continue
		}
		p := s.plug(t.Name())
		p.Console = slices.Contains(strings.Fields(string(consoles)), t.Name())
		all = append(all, p)
	}
	stable(root, "by-id", all, func(p *Plug) *[]string { return &p.ByID })
	stable(root, "by-path", all, func(p *Plug) *[]string { return &p.ByPath })
	slices.SortFunc(all, func(a, b Plug) int {
		return cmp.Or(cmp.Compare(len(a.Node), len(b.Node)), cmp.Compare(a.Node, b.Node))
	})
	return all, nil
}

// sight is one terminal of the system while it is looked at.
type sight struct {
	root, folder string
	unread       []string
}

// isPort tells a serial port from a screen, a pseudo-terminal, and the ports that a driver only makes room for: those
// have type 0. A port of Bluetooth has no device below it while nobody uses it, but an address.
func (s *sight) isPort() bool {
	if s.text(s.folder, "type") == "0" {
		return false
	}
	for _, has := range []string{"device", "address"} {
		if _, err := os.Lstat(filepath.Join(s.folder, has)); err == nil {
			return true
		}
	}
	return false
}

func (s *sight) plug(name string) Plug {
	p := Plug{Node: filepath.Join(s.root, "dev", name)}
	if address := s.text(s.folder, "address"); address != "" {
		p.Title, p.Driver = "Bluetooth "+address, "rfcomm"
	}
	device := s.resolved(filepath.Join(s.folder, "device"))
	if device == "" {
		p.Unread = s.unread
		return p
	}
	p.Driver = s.driver(device)
	if adapter, face := s.adapter(device); adapter != "" {
		p.Socket = filepath.Base(face)
		p.Vendor, p.Product, p.Serial = s.text(adapter, "idVendor"), s.text(adapter, "idProduct"), s.text(adapter, "serial")
		p.Maker, p.Title = s.text(adapter, "manufacturer"), s.text(adapter, "product")
	}
	p.Unread = s.unread
	return p
}

// driver is the name of the driver of a device. A port of the computer itself has two devices of the kernel's own below
// the real one, on a bus called serial-base.
func (s *sight) driver(device string) string {
	for dir := device; s.within(dir); dir = filepath.Dir(dir) {
		to := s.resolved(filepath.Join(dir, "driver"))
		switch {
		case to == "":
			return ""
		case !strings.Contains(to, "/serial-base/"):
			return filepath.Base(to)
		}
	}
	return ""
}

// within says that a folder is that of a device and not yet the top of all devices.
func (s *sight) within(dir string) bool {
	return dir != filepath.Join(s.root, "sys", "devices") && dir != filepath.Dir(dir)
}

// adapter climbs from a device to the USB device that it is part of; face is the folder just below it on the way.
func (s *sight) adapter(device string) (usb, face string) {
	for face = device; s.within(face); face = filepath.Dir(face) {
		usb = filepath.Dir(face)
		if _, err := os.Lstat(filepath.Join(usb, "idVendor")); err == nil {
			return usb, face
		}
	}
	return "", ""
}

// resolved is where a link leads; empty if it is not there.
func (s *sight) resolved(link string) string {
	to, err := filepath.EvalSymlinks(link)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		s.miss(filepath.Base(link), err)
	}
	return to
}

// text reads one attribute; empty if it is not there.
func (s *sight) text(folder, name string) string {
	b, err := os.ReadFile(filepath.Join(folder, name))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		s.miss(name, err)
	}
	return strings.TrimSpace(string(b))
}

func (s *sight) miss(what string, err error) {
	var path *fs.PathError
	if errors.As(err, &path) {
		err = path.Err
	}
	s.unread = append(s.unread, fmt.Sprintf("%s: %v", what, err))
}

// stable gives the links in a folder below /dev/serial to the plugs that they lead to. Without udev there are none.
func stable(root, folder string, all []Plug, of func(*Plug) *[]string) {
	dir := filepath.Join(root, "dev", "serial", folder)
	links, _ := os.ReadDir(dir)
	for _, l := range links {
		name := filepath.Join(dir, l.Name())
		if i := Leads(name, all); i >= 0 {
			list := of(&all[i])
			*list = append(*list, name)
		}
	}
}

// Leads gives the plug whose node a path is, or leads to by symbolic links; -1 for none of them.
func Leads(path string, all []Plug) int {
	for range 8 { // more links than that are a ring
		if i := slices.IndexFunc(all, func(p Plug) bool { return p.Node == path }); i >= 0 {
			return i
		}
		to, err := os.Readlink(path)
		if err != nil {
			return -1
		}
		if !filepath.IsAbs(to) {
			to = filepath.Join(filepath.Dir(path), to)
		}
		path = filepath.Clean(to)
	}
	return -1
}
