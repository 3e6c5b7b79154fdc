package config

import (
	"fmt"
	"path/filepath"
	"regexp"
	"strings"

	"witnessmark/device/modbus"
	"witnessmark/device/profile"
	"witnessmark/device/strictyaml"
)

// claims are what the wrenches before are known by: kind and value, and whose it is.
type claims map[claim]Wrench

type claim struct{ kind, value string }

// The kinds of what a wrench is known by; a port and a node are one kind.
const (
	byPort   = "port"
	bySpeech = "spoken serial number"
	bySerial = "USB serial number"
	bySocket = "USB socket"
)

// where reads how the wrench is reached: by its port, or by how it is found.
func (c claims) where(m strictyaml.Map, w *Wrench) {
	p, fixed := m.Get("port")
	f, found := m.Get("find")
	switch {
	case fixed && found:
		f.Faultf("found port and find, expected one of them: a wrench that is looked for may be at any port")
	case fixed:
		w.Port = scalar(p, true, line)
		c.take(p, byPort, w.Port, w)
	case found:
		c.find(f, w)
	default:
		m.Node().Faultf("found neither port nor find, expected one of them: say where the wrench is plugged in, or how it is found")
	}
}

// somewhere stands for the port that is found.
const somewhere = "/dev/found"

// find reads by what the wrench is found.
func (c claims) find(n strictyaml.Node, w *Wrench) {
	m := n.Map("speaks", "usb-serial", "usb-socket", "node")
	if len(m.Keys()) == 0 {
		n.Faultf("found nothing to find it by, expected speaks, usb-serial, usb-socket or node")
	}
	w.Find.Speaks, w.Find.USBSerial = maybe(m, "speaks", line), maybe(m, "usb-serial", line)
	w.Find.USBSocket, w.Find.Node = maybe(m, "usb-socket", socket), maybe(m, "node", path)
	c.take(at(m, "speaks"), bySpeech, w.Find.Speaks, w)
	c.take(at(m, "usb-serial"), bySerial, w.Find.USBSerial, w)
	c.take(at(m, "usb-socket"), bySocket, w.Find.USBSocket, w)
	c.take(at(m, "node"), byPort, w.Find.Node, w)
	switch p := w.Profile; {
	case p == nil:
	case p.Mode() == (profile.Mode{}):
		n.Faultf("the profile %s does not say how a serial port is to be set, and find looks at serial ports only: give port, or write serial in the profile", p.Name)
	case p.Registers() != nil:
		if _, err := modbus.At(somewhere, p); err != nil {
			n.Faultf("%s", strings.TrimPrefix(err.Error(), fmt.Sprintf("port %q: ", somewhere)))
		}
	}
	if s, ok := m.Get("speaks"); ok && w.Profile != nil && !w.Profile.SaysSerial() {
		s.Faultf("the profile %s reads no serial number, so the wrench is not known by it: leave speaks out", w.Profile.Name)
	}
}

// take faults what another wrench is known by already. Several ports of one adapter have its serial number in common,
// and are told apart by their sockets.
func (c claims) take(n strictyaml.Node, kind, value string, w *Wrench) {
	if value == "" {
		return
	}
	other, taken := c[claim{kind, value}]
	switch {
	case taken && kind == byPort:
		n.Faultf("port %s is already wrench %s's: give every wrench a port of its own", value, other.Declared.Wrench)
	case taken && (kind != bySerial || w.Find.USBSocket == "" || other.Find.USBSocket == ""):
		n.Faultf("the %s %s is already wrench %s's: no two wrenches can be known by the same one", kind, value, other.Declared.Wrench)
	}
	c[claim{kind, value}] = *w
}

// chain is a USB socket as the kernel numbers it, with or without the interface.
var chain = regexp.MustCompile(`^[0-9]+-[0-9]+(\.[0-9]+)*(:[0-9]+\.[0-9]+)?$`)

func socket(s string) (string, string) {
	if s, fault := line(s); fault != "" || chain.MatchString(s) || strings.Contains(s, "usb") {
		return s, fault
	}
	return "", "expected a socket such as 1-2.4, or a name in /dev/serial/by-path, as `witnessmark wrench ports` shows them"
}

func path(s string) (string, string) {
	if !filepath.IsAbs(s) {
		return "", "expected an absolute path, such as /dev/ttyUSB0"
	}
	return line(s)
}
