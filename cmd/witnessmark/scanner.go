package main

import (
	"context"
	"fmt"
	"text/tabwriter"
	"time"

	"witnessmark/cmd/witnessmark/internal/control"
)

type scannerCommand struct {
	Status scannerStatus `cmd:"" help:"Show which barcode scanners are connected, and when each was last heard of."`
}

type scannerStatus struct{}

// Run lists the scanners; exit code 1 says that one is not connected.
func (scannerStatus) Run(ctx context.Context, s shop) error {
	client := s.client()
	defer client.Close()
	list, err := client.Scanners(ctx)
	if err != nil {
		return err
	}
	return scanners(s, list, time.Now())
}

func scanners(s shop, list []control.Scanner, now time.Time) error {
	var attention error
	t := tabwriter.NewWriter(s.out, 2, 0, 2, ' ', 0)
	fmt.Fprintln(t, "SCANNER\tBENCH\tSTATE\tLAST HEARD\tNOT UNDERSTOOD\tPORT")
	for _, c := range list {
		state, heard := "up", "not since the start"
		if !c.Up {
			state, attention = "DOWN: "+c.Reason, errAttention
		}
		if c.LastSeen != nil {
			heard = now.Sub(*c.LastSeen).Round(time.Second).String() + " ago"
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%d\t%s\n", c.ID, c.Bench, state, heard, c.Refused, c.Port)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	return attention
}
