package main

import (
	"errors"
	"path/filepath"
	"strings"

	"witnessmark/device/port"
	"witnessmark/device/profile"
)

// lineFlags say how a serial port is set, where no configuration does.
type lineFlags struct {
	Profile string `help:"Set the line as this profile does: the name of one that comes with the program, or a file." placeholder:"PROFILE"`
	Baud    int    `help:"Bits a second (9600)." placeholder:"N"`
	Bits    int    `help:"Data bits (8)." placeholder:"N"`
	Parity  string `help:"none, odd, even, mark or space (none)." placeholder:"WORD"`
	Stop    string `help:"Stop bits (1)." placeholder:"N"`
}

// mode gives the settings, and the profile if one was named.
func (f lineFlags) mode() (port.Mode, *profile.Profile, error) {
	m := port.Mode{Baud: 9600, DataBits: 8, Parity: "none", StopBits: "1"}
	if f.Profile != "" {
		if f.Baud != 0 || f.Bits != 0 || f.Parity != "" || f.Stop != "" {
			return m, nil, inputError{errors.New("name a profile, or the settings of the line: the profile has settings of its own")}
		}
		p, err := profileOf(f.Profile)
		if err != nil {
			return m, nil, inputError{err}
		}
		if p.Registers() != nil {
			return m, nil, inputError{errors.New("the profile reads registers, and nothing comes unless they are asked for: see it with `witnessmark wrench try`")}
		}
		return port.Mode(p.Mode()), p, nil
	}
	if f.Baud != 0 {
		m.Baud = f.Baud
	}
	if f.Bits != 0 {
		m.DataBits = f.Bits
	}
	if f.Parity != "" {
		m.Parity = f.Parity
	}
	if f.Stop != "" {
		m.StopBits = f.Stop
	}
	return m, nil, nil
}

// spec completes a port as a person writes it: ttyUSB0 is /dev/ttyUSB0, and a path may count from the working folder.
func spec(text string) string {
	switch {
	case strings.Contains(text, "://"), filepath.IsAbs(text):
		return text
	case !strings.Contains(text, "/"):
		return "/dev/" + text
	}
	if abs, err := filepath.Abs(text); err == nil {
		return abs
	}
	return text
}
