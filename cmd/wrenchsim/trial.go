package main

import (
	"fmt"
	"time"

	"witnessmark/cmd/wrenchsim/trial"
)

// trialCommand holds the matching against runs whose truth is known.
type trialCommand struct {
	Runs  int    `default:"10000" help:"How many runs, the slips in turn."`
	Seed  uint64 `default:"1" help:"Where the runs are drawn from: the same seed gives the same table."`
	World string `default:"ordinary" help:"Which bolts, wrench and hand: the name of a world, or all."`
}

// Help is the long help of the command.
func (trialCommand) Help() string {
	help := `Every run is one joint on simulated bolts with one slip put in. Its readings go through the same matching and judging
as in a shop, and through a cursor that counts hits, and what either says is held against what really happened.

A slip that leaves no trace in any reading is counted by itself. "Step right" counts the readings whose step physics can
tell, "in shadow" those among equal fasteners after a slip, whose step is presumed from the order.

Worlds:`
	for _, w := range trial.Corners() {
		help += " " + w.Name + ";"
	}
	return help
}

// Run plays the runs and prints the table of each world.
func (c *trialCommand) Run(to streams) error {
	found := false
	for _, w := range trial.Corners() {
		if c.World != "all" && c.World != w.Name {
			continue
		}
		found = true
		began := time.Now()
		score := trial.Play(w, c.Runs, c.Seed, func(done int) {
			if done%2000 == 0 {
				fmt.Fprintf(to.notes, "%s: %d of %d runs, %s\n", w.Name, done, c.Runs, time.Since(began).Round(time.Second))
			}
		})
		fmt.Fprintf(to.out, "%s, seed %d\n\n", w.Name, c.Seed)
		if err := score.Table(to.out); err != nil {
			return fmt.Errorf("print the table: %w", err)
		}
		fmt.Fprintln(to.out)
	}
	if !found {
		return inputError{fmt.Errorf("no world %q: see wrenchsim trial --help for their names", c.World)}
	}
	return nil
}
