package main

import (
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"witnessmark/cmd/wrenchsim/sim"
	"witnessmark/device/profile"
)

// placeFlags say where the daemon finds the wrenches.
type placeFlags struct {
	Pty    []string `xor:"place" sep:"none" required:"" placeholder:"LINK" help:"Pseudo-terminal under this stable name; one for each wrench, in the order of the script."`
	Listen []string `xor:"place" sep:"none" required:"" placeholder:"HOST:PORT" help:"Wait for the daemon to call at this TCP address; one for each wrench. Where the profile reads registers, the wrench is a Modbus TCP slave there."`
	Dial   []string `xor:"place" sep:"none" required:"" placeholder:"HOST:PORT" help:"Call the daemon at this TCP address; one for each wrench."`
}

// lines opens the places, one for each wrench, and gives its form as it is spoken there.
func (p placeFlags) lines(forms []*profile.Profile) ([]sim.Line, []sim.Form, error) {
	kind, places := p.Pty, sim.Pty
	switch {
	case len(p.Listen) > 0:
		kind, places = p.Listen, sim.Listen
	case len(p.Dial) > 0:
		kind, places = p.Dial, func(addr string) (sim.Line, error) { return sim.Dial(addr), nil }
	}
	if len(kind) != len(forms) {
		return nil, nil, inputError{fmt.Errorf("found %d places, expected %d: name one place for each wrench", len(kind), len(forms))}
	}
	var lines []sim.Line
	var spoken []sim.Form
	for i, at := range kind {
		line, form, err := p.line(at, places, forms[i])
		if err != nil {
			for _, l := range lines {
				l.Close() // nothing was plugged in yet
			}
			return nil, nil, err
		}
		lines, spoken = append(lines, line), append(spoken, form)
	}
	return lines, spoken, nil
}

// line opens one place. Where the profile reads registers it is a Modbus slave.
func (p placeFlags) line(at string, place func(string) (sim.Line, error), form *profile.Profile) (sim.Line, sim.Form, error) {
	if form.Registers() == nil {
		line, err := place(at)
		return line, form, err
	}
	if len(p.Listen) == 0 {
		return nil, nil, inputError{fmt.Errorf("profile %s reads registers: give the wrench an address with --listen", form.Name)}
	}
	return sim.Slave(at, form)
}

// counted makes n places of one: /tmp/w becomes /tmp/w-1, /tmp/w-2 …, host:7001 becomes host:7001, host:7002 …
func (p placeFlags) counted(n int) (placeFlags, error) {
	var err error
	if len(p.Pty) == 1 {
		p.Pty = links(p.Pty[0], n)
	}
	if p.Listen, err = ports(p.Listen, n); err != nil {
		return p, err
	}
	p.Dial, err = ports(p.Dial, n)
	return p, err
}

func links(link string, n int) []string {
	all := make([]string, n)
	for i := range all {
		all[i] = fmt.Sprintf("%s-%d", filepath.Clean(link), i+1)
	}
	return all
}

func ports(addrs []string, n int) ([]string, error) {
	if len(addrs) != 1 {
		return addrs, nil
	}
	host, text, err := net.SplitHostPort(addrs[0])
	if err != nil {
		return nil, inputError{fmt.Errorf("read the address %q: write host:port", addrs[0])}
	}
	first, err := strconv.ParseUint(text, 10, 16)
	if err != nil {
		return nil, inputError{fmt.Errorf("read the address %q: write the port as a number", addrs[0])}
	}
	all := make([]string, n)
	for i := range all {
		port := first
		if first != 0 {
			port += uint64(i)
		}
		all[i] = net.JoinHostPort(host, strconv.FormatUint(port, 10))
	}
	return all, nil
}

// form finds a profile by its name, or reads it where the name is that of a file.
func form(name string) (*profile.Profile, error) {
	if !strings.ContainsAny(name, "/.") {
		p, err := profile.Builtin(name)
		if err != nil {
			return nil, inputError{err}
		}
		return p, nil
	}
	text, err := os.ReadFile(name)
	if err != nil {
		return nil, inputError{fmt.Errorf("read the wrench profile: %w", err)}
	}
	p, err := profile.Parse(name, text)
	if err != nil {
		return nil, inputError{err}
	}
	return p, nil
}
