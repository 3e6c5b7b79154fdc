package main

import (
	"fmt"
	"slices"
	"time"

	"witnessmark/cmd/wrenchsim/trial"
)

// trialCommand holds the matching against runs whose truth is known.
type trialCommand struct {
	Runs  int      `default:"10000" help:"How many runs, the slips in turn."`
	Seed  uint64   `default:"1" help:"Where the runs are drawn from: the same seed gives the same table."`
	World string   `default:"ordinary" help:"Which bolts, wrench and hand: the name of a world, or all."`
	Only  []string `help:"Only the slips whose names begin so, with hyphens for spaces, e.g. clean,turned-twice. Left out: all." placeholder:"NAME"`
}

// Help is the long help of the command.
func (trialCommand) Help() string {
	help := `Every run is one joint on simulated bolts with one slip put in. Its readings go through the same matching and judging
as in a shop, and through a cursor that counts hits, and what either says is held against what really happened.

A slip that leaves no trace in any reading is counted by itself. "Step right" counts the readings whose step physics can
tell, "in shadow" those among equal fasteners after a slip, whose step is presumed from the order. A joint that has no room
for its slip is played clean.

What physics allows: the same runs, clean or turned twice, by a judge who knows what they were made from, all but the draws of
the single bolts and pulls, and asks only which of the two they are. Nobody who sees the readings alone can do better.

The worlds of renewals, verification and adapters have a second table, of the pulls after a bolt was renewed, of those of the
verification round, and of those from the adapter on. "False verdict" counts the pulls that pass at their true step and were
not said to, "passed" those that do not and were; "from 0.5" and "from 0.9" are those said with that confidence or more.

Worlds:`
	for _, w := range trial.Corners() {
		help += " " + w.Name + ";"
	}
	return help
}

// Run plays the runs and prints the table of each world.
func (c *trialCommand) Run(to streams) error {
	slips, err := c.slips()
	if err != nil {
		return inputError{err}
	}
	found := false
	for _, w := range trial.Corners() {
		if c.World != "all" && c.World != w.Name {
			continue
		}
		found = true
		began := time.Now()
		score := trial.Play(w, slips, c.Runs, c.Seed, func(done int) {
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

// slips are those that were asked for, in the order of the table.
func (c *trialCommand) slips() ([]trial.Slip, error) {
	if len(c.Only) == 0 {
		return trial.Slips(), nil
	}
	var wanted []trial.Slip
	for _, name := range c.Only {
		some := trial.Beginning(name)
		if len(some) == 0 {
			return nil, fmt.Errorf("no slip begins with %q: their names are the lines of the table", name)
		}
		wanted = append(wanted, some...)
	}
	return slices.DeleteFunc(trial.Slips(), func(s trial.Slip) bool { return !slices.Contains(wanted, s) }), nil
}
