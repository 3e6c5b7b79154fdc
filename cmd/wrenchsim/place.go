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
	Listen []string `xor:"place" sep:"none" required:"" placeholder:"HOST:PORT" help:"Wait for the daemon to call at this TCP address; one for each wrench."`
	Dial   []string `xor:"place" sep:"none" required:"" placeholder:"HOST:PORT" help:"Call the daemon at this TCP address; one for each wrench."`
}

// lines opens the places: one for each wrench, or one that is counted on from for all of them.
func (p placeFlags) lines(wrenches int) ([]sim.Line, error) {
	kind, places := p.Pty, sim.Pty
	switch {
	case len(p.Listen) > 0:
		kind, places = p.Listen, sim.Listen
	case len(p.Dial) > 0:
		kind, places = p.Dial, func(addr string) (sim.Line, error) { return sim.Dial(addr), nil }
	}
	if len(kind) != wrenches {
		return nil, inputError{fmt.Errorf("found %d places, expected %d: name one place for each wrench", len(kind), wrenches)}
	}
	lines := make([]sim.Line, 0, wrenches)
	for _, at := range kind {
		line, err := places(at)
		if err != nil {
			for _, l := range lines {
				l.Close() // nothing was plugged in yet
			}
			return nil, err
		}
		lines = append(lines, line)
	}
	return lines, nil
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
func form(name string) (sim.Form, error) {
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
