package main

import (
	"context"
	"fmt"

	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/cmd/witnessmark/internal/show"
)

type jointCommand struct {
	Start    jointStart    `cmd:"" help:"Put a joint of a build on a bench; readings of its wrenches belong to it from now on. One that was left unfinished is taken up again."`
	Renew    jointRenew    `cmd:"" help:"Say that new bolts were fitted: their fasteners begin again from the first stage."`
	HandOver jointHandOver `cmd:"" help:"Put the joint on a bench into the hands of a colleague: the readings from then on are theirs."`
	Close    jointClose    `cmd:"" help:"Take the joint off a bench; started again it goes on from there, on any bench."`
}

// atBench is the flag of every command that concerns one bench.
type atBench struct {
	Bench string `required:"" help:"Bench." placeholder:"BENCH" env:"WITNESSMARK_BENCH"`
}

type jointStart struct {
	atWork
	atBench
	Build  string `required:"" help:"Work order of the build, or its number." placeholder:"BUILD"`
	Joint  string `arg:"" help:"Joint of the procedure."`
	Afresh bool   `help:"Begin anew: all of the joint was loosened."`
}

// Run starts the joint and shows what is next.
func (c *jointStart) Run(ctx context.Context, s shop) error {
	client := s.client()
	defer client.Close()
	build, err := buildOf(ctx, client, c.Build)
	if err != nil {
		return err
	}
	v, err := client.StartJoint(ctx, c.Bench, control.Start{Build: build, Joint: c.Joint, Afresh: c.Afresh, Person: c.By})
	return s.shown(v, err)
}

type jointRenew struct {
	atWork
	atBench
	Fasteners []string `arg:"" name:"fastener" help:"Fasteners that got a new bolt."`
	Reason    string   `help:"Why." placeholder:"TEXT"`
}

// Run records the new bolts and shows what is next.
func (c *jointRenew) Run(ctx context.Context, s shop) error {
	client := s.client()
	defer client.Close()
	v, err := client.Renew(ctx, c.Bench, control.Renew{Fasteners: c.Fasteners, Reason: c.Reason, Person: c.By})
	return s.shown(v, err)
}

type jointHandOver struct {
	atBench
	To string `arg:"" optional:"" name:"name" help:"Name of who works from now on; left out: whoever the token acts as."`
}

// Help is shown below the flags.
func (jointHandOver) Help() string {
	return `An entry says so. The next badge that is scanned at the bench takes the joint over as well. From another machine, with --server, a
joint is only taken over, by the person as whom the token acts.`
}

// Run hands the joint over and shows what is next.
func (c *jointHandOver) Run(ctx context.Context, s shop) error {
	client := s.client()
	defer client.Close()
	v, err := client.HandOver(ctx, c.Bench, control.HandOver{Person: c.To})
	return s.shown(v, err)
}

type jointClose struct {
	atWork
	atBench
}

// Run closes the joint; exit code 1 says that it was not complete.
func (c *jointClose) Run(ctx context.Context, s shop) error {
	client := s.client()
	defer client.Close()
	before, err := client.View(ctx, c.Bench)
	if err != nil {
		return err
	}
	v, err := client.CloseJoint(ctx, c.Bench, control.Close{Person: c.By})
	if err := s.shown(v, err); err != nil {
		return err
	}
	left, done := before.Summary, before.Summary.Complete
	if done {
		fmt.Fprintf(s.out, "joint %s of engine %s is complete and closed\n", before.Joint, before.Engine)
		left = bench.Summary{Verification: left.Verification}
	} else {
		fmt.Fprintf(s.out, "joint %s of engine %s was closed, but is not complete; started again it goes on from here:\n", before.Joint, before.Engine)
	}
	for _, line := range show.Summary(left) {
		fmt.Fprintln(s.out, line)
	}
	if !done {
		return errAttention
	}
	return nil
}

// shown prints a bench after an action on it.
func (s shop) shown(v bench.View, err error) error {
	if err != nil {
		return err
	}
	for _, line := range show.Bench(v) {
		if _, err := fmt.Fprintln(s.out, line); err != nil {
			return err
		}
	}
	return nil
}
