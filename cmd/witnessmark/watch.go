package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/cmd/witnessmark/internal/show"
)

type watchCommand struct {
	Bench string `arg:"" help:"Bench." env:"WITNESSMARK_BENCH"`
	JSON  bool   `name:"json" help:"One JSON object a line, as the control socket sends it."`
}

// againAfter is the pause before a watch that ended is begun anew.
const againAfter = time.Second

// errWritten ends a watch whose own output is closed.
var errWritten = errors.New("write to the output")

// Run shows the bench until it is interrupted. A daemon that goes away is waited for, once it has answered.
func (c *watchCommand) Run(ctx context.Context, s shop) error {
	client := s.client()
	defer client.Close()
	heard, away := false, false
	var live show.Live
	for {
		err := client.Watch(ctx, c.Bench, func(u control.Update) error {
			heard, away = true, false
			if err := c.tell(s.out, &live, u); err != nil {
				return errors.Join(errWritten, err)
			}
			return nil
		})
		switch {
		case ctx.Err() != nil:
			return nil
		case !heard || errors.Is(err, errWritten):
			return err
		}
		if !away {
			fmt.Fprintln(s.log, "the daemon does not answer; waiting for it")
		}
		away = true
		select {
		case <-time.After(againAfter):
		case <-ctx.Done():
			return nil
		}
	}
}

func (c *watchCommand) tell(out io.Writer, live *show.Live, u control.Update) error {
	if c.JSON {
		return json.NewEncoder(out).Encode(u)
	}
	for _, line := range live.Update(u) {
		if _, err := fmt.Fprintln(out, line); err != nil {
			return err
		}
	}
	return nil
}
