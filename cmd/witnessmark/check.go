package main

import (
	"context"
	"errors"

	"witnessmark/cmd/witnessmark/internal/control"
)

type checkCommand struct {
	Answer checkAnswer `cmd:"" help:"Answer a check: yes, no, the measured value, a lot number, or a count."`
}

type checkAnswer struct {
	atWork
	atBench
	Check    string `arg:"" help:"The check, e.g. end-float."`
	Answer   string `arg:"" help:"yes, no, the measured value with its unit, e.g. '0.12 mm', the lot number, or how many bolts."`
	Fastener string `help:"The fastener, where the check is asked for each one." placeholder:"ID"`
}

// Run records the answer and shows what is next.
func (c *checkAnswer) Run(ctx context.Context, s shop) error {
	a := control.Answer{Check: c.Check, Fastener: c.Fastener, Person: c.By}
	switch c.Answer {
	case "":
		return inputError{errors.New("the answer is empty: say yes, no, the measured value, the lot number, or how many")}
	case "yes":
		a.Yes = true
	case "no":
	default:
		a.Yes, a.Value = true, c.Answer
	}
	client := s.client()
	defer client.Close()
	v, err := client.Answer(ctx, c.Bench, a)
	return s.shown(v, err)
}
