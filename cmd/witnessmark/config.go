package main

import (
	"fmt"

	"witnessmark/cmd/witnessmark/internal/config"
)

type configCommand struct {
	Example configExample `cmd:"" help:"Print a documented example that works as it stands."`
	Check   configCheck   `cmd:"" help:"Check a configuration file and name all its faults."`
}

type configExample struct{}

// Run prints the example.
func (configExample) Run(s shop) error {
	_, err := s.out.Write(config.Example())
	return err
}

type configCheck struct {
	File string `arg:"" help:"Configuration file." type:"existingfile"`
}

// Run checks the file.
func (c *configCheck) Run(s shop) error {
	cfg, err := config.Load(c.File)
	if err != nil {
		return inputError{err}
	}
	_, err = fmt.Fprintf(s.out, "%s: good: shop %s, %d benches, %d wrenches\n", c.File, cfg.Shop.ID, len(cfg.Benches), len(cfg.Wrenches))
	return err
}
