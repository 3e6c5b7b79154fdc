package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"time"

	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/cmd/witnessmark/internal/doctor"
)

type doctorCommand struct {
	Config string `help:"Configuration file; that of the installed service if left out, where there is one." placeholder:"FILE" type:"existingfile"`
	User   string `help:"User that the daemon runs as; the owner of the data folder if left out." placeholder:"NAME"`
	Format string `enum:"text,json" default:"text" help:"text or json."`
}

// Help is the long help of the command.
func (doctorCommand) Help() string {
	return `One line a check: ok, look or not ok, what was found, and what to do. Exit code 1
says that something is not ok. Nothing is changed and no serial port is opened, so
it may run beside the daemon. Who holds a port is seen by root only.`
}

// Run looks at the computer and says what is not right.
func (c *doctorCommand) Run(ctx context.Context, s shop, all *commands) error {
	box, err := c.box(s, all.Data)
	if err != nil {
		return inputError{err}
	}
	found := doctor.Examine(ctx, box)
	if err := c.tell(s.out, found); err != nil {
		return err
	}
	if !doctor.Healthy(found) {
		return errAttention
	}
	return nil
}

// box is what the flags and the configuration say about this computer. data is the folder given, empty: none.
func (c *doctorCommand) box(s shop, data string) (b doctor.Box, err error) {
	b = doctor.Box{Config: config.Config{Database: config.Private, Listen: config.Listen}, Data: s.data, Clock: time.Now, System: doctor.Of()}
	file, installed := c.Config, false
	if _, err := os.Stat(packageConfig); file == "" && err == nil {
		file, installed = packageConfig, true
	}
	if file != "" {
		if b.Config, err = config.Load(file); err != nil {
			return b, err
		}
	}
	switch {
	case data != "":
	case b.Config.Data != "":
		b.Data = b.Config.Data
	case installed:
		b.Data = packageData
	}
	b.User, err = c.user(b.Data)
	return b, err
}

// user is whoever the daemon runs as: the one named, else the owner of the data folder, else this one.
func (c *doctorCommand) user(data string) (doctor.Person, error) {
	if _, err := os.Stat(data); c.User == "" && err == nil {
		return doctor.Owner(data)
	}
	return doctor.Somebody(c.User)
}

func (c *doctorCommand) tell(out io.Writer, found []doctor.Finding) error {
	if c.Format == "json" {
		return json.NewEncoder(out).Encode(found)
	}
	for _, f := range found {
		line := fmt.Sprintf("%-6s  %-12s  %s", f.State, f.Check, f.Found)
		if f.Do != "" {
			line += " → " + f.Do
		}
		if _, err := fmt.Fprintln(out, line); err != nil {
			return err
		}
	}
	return nil
}
