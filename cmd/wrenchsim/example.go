package main

import (
	"fmt"
	"io"

	"witnessmark/cmd/wrenchsim/sim"
)

// exampleCommand prints a script to start from.
type exampleCommand struct{}

// Run prints it.
func (exampleCommand) Run(to streams) error {
	if _, err := io.WriteString(to.out, sim.Example); err != nil {
		return fmt.Errorf("print the example: %w", err)
	}
	return nil
}
