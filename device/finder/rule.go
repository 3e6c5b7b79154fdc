package finder

import (
	"path/filepath"
	"strings"

	"witnessmark/device/port"
)

// Rule says how a wrench is found among all that is plugged in. An empty field says nothing; the others are tried in
// this order.
type Rule struct {
	Speaks    string // the serial number that the wrench itself says with its readings
	USBSerial string // the serial number of the USB adapter
	USBSocket string // where it is plugged in: 1-2.4, 1-2.4:1.0, or a name of /dev/serial/by-path
	Node      string // the device, or any symbolic link to it
}

// A rank says how well a rule fits a plug, without anything being heard there: each kind of sign outweighs all those
// after it together. 0: not at all.
const (
	byNode   = 1
	bySocket = 2 * byNode
	bySerial = 2 * bySocket
)

// rank is the sum for one plug. plugs are all that there are: a name is followed to one of them.
func (r Rule) rank(i int, plugs []port.Plug) int {
	p, sum := plugs[i], 0
	if r.USBSerial != "" && p.Serial == r.USBSerial {
		sum += bySerial
	}
	if r.USBSocket != "" && inSocket(p, r.USBSocket) {
		sum += bySocket
	}
	if r.Node != "" && port.Leads(r.Node, plugs) == i {
		sum += byNode
	}
	return sum
}

// Plugged is the port among plugs that fits the rule best; false: none does, or what it says would have to be heard.
func (r Rule) Plugged(plugs []port.Plug) (node string, ok bool) {
	best := 0
	for i, p := range plugs {
		if n := r.rank(i, plugs); n > best {
			best, node = n, p.Node
		}
	}
	return node, best > 0
}

// inSocket takes a socket with its interface, without it, or a stable name after the socket with or without its folder.
func inSocket(p port.Plug, socket string) bool {
	if usb, _, _ := strings.Cut(p.Socket, ":"); p.Socket != "" && (socket == p.Socket || socket == usb) {
		return true
	}
	for _, name := range p.ByPath {
		if filepath.Base(name) == filepath.Base(socket) {
			return true
		}
	}
	return false
}

// matched says in words what made the rank.
func (r Rule) matched(rank int) string {
	switch {
	case rank >= bySerial:
		return "by the USB serial number " + r.USBSerial
	case rank >= bySocket:
		return "by the USB socket " + r.USBSocket
	}
	return "by the name " + r.Node
}
