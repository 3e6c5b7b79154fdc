package main

import (
	"context"
	"fmt"
	"text/tabwriter"
	"time"

	"witnessmark/cmd/witnessmark/internal/control"
)

type wrenchCommand struct {
	Status wrenchStatus `cmd:"" help:"Show which wrenches are connected, when each was last heard of, and its calibration."`
}

type wrenchStatus struct{}

// Run lists the wrenches; exit code 1 says that one is not connected or is out of calibration.
func (wrenchStatus) Run(ctx context.Context, s shop) error {
	client := s.client()
	defer client.Close()
	list, err := client.Wrenches(ctx)
	if err != nil {
		return err
	}
	return wrenches(s, list, time.Now())
}

func wrenches(s shop, list []control.Wrench, now time.Time) error {
	var attention error
	t := tabwriter.NewWriter(s.out, 2, 0, 2, ' ', 0)
	fmt.Fprintln(t, "WRENCH\tBENCH\tSTATE\tLAST HEARD\tCALIBRATION\tPORT")
	for _, w := range list {
		state, heard := "up", "not since the start"
		if !w.Up {
			state, attention = "DOWN: "+w.Reason, errAttention
		}
		if w.LastSeen != nil {
			heard = now.Sub(*w.LastSeen).Round(time.Second).String() + " ago"
		}
		due := "not said"
		if w.Due != nil {
			due = "to " + w.Due.Format(time.DateOnly)
			if now.After(*w.Due) {
				due, attention = "OVER since "+w.Due.Format(time.DateOnly), errAttention
			}
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\n", w.ID, w.Bench, state, heard, due, w.Port)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	return attention
}
