package doctor

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"slices"
	"strings"

	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/device/port"
)

// ports looks at every port that the configuration names, and at every rule by which one is found.
func (b *Box) ports(ctx context.Context) []Finding {
	running := b.runs()
	plugs, err := port.Plugs(b.Root)
	var all []Finding
	for _, w := range b.Config.Wrenches {
		f := Finding{Check: "wrench " + w.Declared.Wrench}
		switch {
		case w.Port != "":
			f = b.port(ctx, f, w.Port, running)
		case err != nil:
			f.State, f.Found, f.Do = Look, err.Error(), "see whether /sys can be read"
		default:
			f = b.found(f, w, plugs, running)
		}
		all = append(all, f)
	}
	for _, s := range b.Config.Scanners {
		all = append(all, b.port(ctx, Finding{Check: "scanner " + s.ID}, s.Port, running))
	}
	return all
}

// found looks for a wrench that is found by a rule.
func (b *Box) found(f Finding, w config.Wrench, plugs []port.Plug, running bool) Finding {
	if node, ok := w.Find.Plugged(plugs); ok {
		return b.serial(f, node, running)
	}
	if w.Find.Speaks != "" {
		f.State, f.Found = OK, fmt.Sprintf("is looked for by what it says at %d ports", len(plugs))
		if len(plugs) == 0 {
			f.State, f.Found, f.Do = NotOK, "no serial port is there to look for it", "plug it in, and see witnessmark wrench ports"
		}
		return f
	}
	f.State, f.Found = NotOK, fmt.Sprintf("nothing that is plugged in fits %s", w.Find.String())
	f.Do = "plug it in, or correct find: in the configuration by what witnessmark wrench ports shows"
	return f
}

// port looks at a port by its spec.
func (b *Box) port(ctx context.Context, f Finding, spec string, running bool) Finding {
	kind, rest, _ := strings.Cut(spec, "://")
	switch {
	case kind == "capture":
		f.State, f.Found = Look, "plays a capture: "+rest
		f.Do = "write the port of the real one into the configuration before work begins"
	case kind == "tcp" || kind == "rtu+tcp":
		f = dial(ctx, f, rest, running)
	case kind == "tcp-listen":
		f.State, f.Found = OK, "dials this computer at "+rest
	default:
		f = b.serial(f, spec, running)
	}
	return f
}

// dial looks whether something answers. A serial server takes one caller, so nothing is dialled while the daemon runs.
func dial(ctx context.Context, f Finding, address string, running bool) Finding {
	if running {
		f.State, f.Found = OK, "is held by the daemon, which says how it fares: witnessmark wrench status"
		return f
	}
	ctx, cancel := context.WithTimeout(ctx, reachWithin)
	defer cancel()
	conn, err := (&net.Dialer{}).DialContext(ctx, "tcp", address)
	if err != nil {
		f.State, f.Found = NotOK, fmt.Sprintf("%s does not answer: %v", address, err)
		f.Do = "switch its adapter on, see to the network, or correct the address in the configuration"
		return f
	}
	_ = conn.Close() // nothing was sent
	f.State, f.Found = OK, address+" answers"
	return f
}

// serial looks at a serial port without opening it: to open one may reset what is plugged in.
func (b *Box) serial(f Finding, node string, running bool) Finding {
	f.State = NotOK
	s, err := stat(node)
	switch {
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		f.State, f.Found, f.Do = Look, err.Error(), "run this as root"
		return f
	case err != nil:
		f.Found = node + " is not there"
		f.Do = "plug it in, or correct the port in the configuration by what witnessmark wrench ports shows"
		return f
	case s.mode&os.ModeCharDevice == 0:
		f.Found, f.Do = node+" is no serial port", "correct the port in the configuration by what witnessmark wrench ports shows"
		return f
	case !b.User.may(s, read|write):
		f.Found = fmt.Sprintf("user %s may not open %s", b.User.Name, node)
		f.Do = b.letIn(s.gid)
		return f
	}
	return holder(f, node, running)
}

// letIn says how the user may open a port that belongs to a group. Nobody is to be put into root's for that.
func (b *Box) letIn(gid uint32) string {
	if gid == 0 {
		return "let a udev rule give it to the group dialout, as that of the package does, and plug it in again"
	}
	return fmt.Sprintf("usermod -aG %s %s, then start the daemon again", b.groupName(gid), b.User.Name)
}

// holder says who has the port open.
func holder(f Finding, node string, running bool) Finding {
	held := slices.DeleteFunc(port.Holders(node), func(h port.Holder) bool { return h.PID == os.Getpid() })
	f.State, f.Found = OK, node+" is there and may be opened"
	switch {
	case len(held) > 0 && running && held[0].Name == "witnessmark":
		f.Found = fmt.Sprintf("%s is held by the daemon, %s", node, held[0])
	case len(held) > 0:
		f.State, f.Found = NotOK, fmt.Sprintf("%s is held by %s", node, held[0])
		f.Do = "end that program, or give it another port"
	}
	return f
}
