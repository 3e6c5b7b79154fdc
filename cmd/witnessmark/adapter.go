package main

import (
	"context"
	"fmt"
	"text/tabwriter"

	"witnessmark/cmd/witnessmark/internal/control"
)

type adapterCommand struct {
	Fit    adapterFit    `cmd:"" help:"Say which crowfoot or extension is fitted: readings are corrected by it from now on."`
	Remove adapterRemove `cmd:"" help:"Say that it was taken off: what the wrench shows is what the fastener gets."`
	List   adapterList   `cmd:"" help:"List the adapters that are fitted at the benches."`
}

// onWrench is the flag that names one wrench of several.
type onWrench struct {
	Wrench string `help:"The wrench that has it; left out: every wrench at the bench that has none of its own." placeholder:"WRENCH"`
}

type adapterFit struct {
	atWork
	atBench
	onWrench
	Adapter      string `arg:"" help:"The adapter's id, as the procedure names it where it does."`
	WrenchLength string `required:"" help:"From the middle of the grip to the drive, e.g. '400 mm'." placeholder:"LENGTH"`
	Extension    string `required:"" help:"From the drive to the fastener, e.g. '60 mm'." placeholder:"LENGTH"`
	Angle        string `help:"Between the adapter and the line of the wrench: 0° straight on, 90° across, 180° back along the handle." default:"0°" placeholder:"ANGLE"`
}

// Run fits it and shows the bench.
func (c *adapterFit) Run(ctx context.Context, s shop) error {
	client := s.client()
	defer client.Close()
	v, err := client.FitAdapter(ctx, c.Bench, control.Fit{Adapter: c.Adapter, Wrench: c.Wrench, WrenchLength: c.WrenchLength,
		Extension: c.Extension, Angle: c.Angle, Person: c.By})
	return s.shown(v, err)
}

type adapterRemove struct {
	atWork
	atBench
	onWrench
}

// Run takes it off and shows the bench.
func (c *adapterRemove) Run(ctx context.Context, s shop) error {
	client := s.client()
	defer client.Close()
	v, err := client.RemoveAdapter(ctx, c.Bench, control.TakeOff{Wrench: c.Wrench, Person: c.By})
	return s.shown(v, err)
}

type adapterList struct{}

// Run lists what is fitted at every bench.
func (adapterList) Run(ctx context.Context, s shop) error {
	client := s.client()
	defer client.Close()
	benches, err := client.Benches(ctx)
	if err != nil {
		return err
	}
	t := tabwriter.NewWriter(s.out, 2, 0, 2, ' ', 0)
	fmt.Fprintln(t, "BENCH\tADAPTER\tWRENCH\tWRENCH LENGTH\tEXTENSION\tANGLE")
	for _, b := range benches {
		v, err := client.View(ctx, b.ID)
		if err != nil {
			return err
		}
		for _, a := range v.Fitted {
			wrench := a.Wrench
			if wrench == "" {
				wrench = "every one"
			}
			fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\n", b.ID, a.Adapter, wrench, a.WrenchLength, a.Extension, a.Angle)
		}
	}
	return t.Flush()
}
