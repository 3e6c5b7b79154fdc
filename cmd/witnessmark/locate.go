package main

import (
	"context"
	"errors"

	"witnessmark/cmd/witnessmark/internal/control"
)

type locateCommand struct {
	atWork
	atBench
	Fastener string `arg:"" optional:"" help:"The fastener that it was."`
	None     bool   `help:"It was none of this joint."`
	Reading  uint64 `help:"Number of the reading; left out: the last one of the bench, if it fits a stage of that fastener." placeholder:"N"`
}

// Run records which fastener the reading was and shows what that changes.
func (c *locateCommand) Run(ctx context.Context, s shop) error {
	if c.None == (c.Fastener != "") {
		return inputError{errors.New("say which fastener it was, or --none")}
	}
	client := s.client()
	defer client.Close()
	v, err := client.Name(ctx, c.Bench, control.Name{Reading: c.Reading, Fastener: c.Fastener, Person: c.By})
	return s.shown(v, err)
}
