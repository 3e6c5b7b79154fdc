package main

import (
	"fmt"

	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/cmd/witnessmark/internal/show"
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
	_, err = fmt.Fprintf(s.out, "%s: good: shop %s, %s, %s\n", c.File, cfg.Shop.ID, show.Count(len(cfg.Benches), "bench"), show.Count(len(cfg.Wrenches), "wrench"))
	return err
}
