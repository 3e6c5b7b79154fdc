package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"

	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/device/port"
)

type wrenchPorts struct {
	JSON bool `name:"json" help:"A JSON list."`
}

// Help is the long help of the command.
func (wrenchPorts) Help() string {
	return `Nothing is opened: what is shown comes from /sys and /dev/serial.

  usb-serial, usb-socket   may stand under find: in the configuration
  by-id, by-path           stable names for port: in the configuration

The number in /dev/ttyUSB0 is given in the order of plugging in, and is another
one tomorrow. An adapter without a usb-serial is told from one like it by its
usb-socket only, or by what the wrench says: find: {speaks: …}.`
}

// Run lists the serial ports; exit code 1 says that there is none.
func (c *wrenchPorts) Run(ctx context.Context, s shop) error { return c.list(ctx, s, "") }

// listedPort is a port with who uses it.
type listedPort struct {
	port.Plug
	Wrench  string        `json:"wrench,omitempty"`  // id of the configured wrench
	Scanner string        `json:"scanner,omitempty"` // id of the configured scanner
	Holders []port.Holder `json:"holders,omitempty"` // programs that have it open, as far as this user sees them
	Barred  string        `json:"barred,omitempty"`  // why this user may not open it
}

func (c *wrenchPorts) list(ctx context.Context, s shop, root string) error {
	plugs, err := port.Plugs(root)
	if err != nil {
		return err
	}
	all := make([]listedPort, len(plugs))
	for i, p := range plugs {
		all[i] = listedPort{Plug: p, Holders: port.Holders(p.Node), Barred: barred(p.Node)}
	}
	if err := s.users(ctx, plugs, all); err != nil {
		fmt.Fprintf(s.log, "which wrench uses which port is not known: %v\n", err)
	}
	if c.JSON {
		return json.NewEncoder(s.out).Encode(all)
	}
	if len(all) == 0 {
		fmt.Fprintln(s.out, "No serial port is there. Check the cable, and that it carries data; the adapter's driver (dmesg names the adapter "+
			"when it is plugged in); and, in a virtual machine or container, that the device is handed through.")
		return errAttention
	}
	for _, p := range all {
		if _, err := io.WriteString(s.out, p.block()); err != nil {
			return err
		}
	}
	return nil
}

// users asks the daemon, if there is one, which wrenches and scanners use the ports.
func (s shop) users(ctx context.Context, plugs []port.Plug, all []listedPort) error {
	client := s.client()
	defer client.Close()
	wrenches, err := client.Wrenches(ctx)
	if errors.Is(err, control.ErrNoDaemon) {
		return nil
	}
	if err != nil {
		return err
	}
	scanners, err := client.Scanners(ctx)
	name(wrenches, scanners, plugs, all)
	return err
}

// name puts wrenches and scanners to the ports that they use. A wrench that was found is where it was found.
func name(wrenches []control.Wrench, scanners []control.Scanner, plugs []port.Plug, all []listedPort) {
	for _, w := range wrenches {
		spec := w.Port
		if _, node, found := strings.Cut(w.Where, ", at "); found {
			spec = node
		}
		if i := port.Leads(spec, plugs); i >= 0 {
			all[i].Wrench = w.ID
		}
	}
	for _, sc := range scanners {
		if i := port.Leads(sc.Port, plugs); i >= 0 {
			all[i].Scanner = sc.ID
		}
	}
}

// block is what people read of a port: a line with the node, and one for each thing to know.
func (p listedPort) block() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%-14s %s\n", p.Node, p.about())
	line := func(key string, values ...string) {
		for _, v := range values {
			if v != "" {
				fmt.Fprintf(&b, "  %-12s %s\n", key, v)
				key = ""
			}
		}
	}
	line("used by", p.users())
	line("usb-serial", p.Serial)
	line("usb-socket", p.Socket)
	line("by-id", p.ByID...)
	line("by-path", p.ByPath...)
	line("not read", p.Unread...)
	line("barred", p.Barred)
	return b.String()
}

// about says what is plugged in.
func (p listedPort) about() string {
	what := strings.Join(strings.Fields(p.Maker+" "+p.Title), " ")
	switch {
	case what != "":
	case p.USB():
		what = "USB adapter"
	default:
		what = "port of this computer"
	}
	var more []string
	if p.Vendor != "" {
		more = append(more, p.Vendor+":"+p.Product)
	}
	if p.Driver != "" {
		more = append(more, "driver "+p.Driver)
	}
	if p.Console {
		more = append(more, "the system's console")
	}
	if len(more) > 0 {
		what += " (" + strings.Join(more, ", ") + ")"
	}
	return what
}

// users are whom a person can ask for it: the device of the configuration, else the programs that have it open.
func (p listedPort) users() string {
	switch {
	case p.Wrench != "":
		return "wrench " + p.Wrench
	case p.Scanner != "":
		return "scanner " + p.Scanner
	}
	names := make([]string, len(p.Holders))
	for i, h := range p.Holders {
		names[i] = h.String()
	}
	return strings.Join(names, ", ")
}
