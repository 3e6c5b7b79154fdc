package main

import (
	"fmt"
	"io"
	"os"
	"strings"

	"witnessmark/audit/bench"
	"witnessmark/audit/procedure"
	"witnessmark/cmd/witnessmark/internal/replay"
)

type replayCommand struct {
	Procedure string `required:"" help:"Procedure file." placeholder:"FILE"`
	Joint     string `required:"" help:"Joint of the procedure." placeholder:"ID"`
	Format    string `enum:"text,json" default:"text" help:"text or json."`
	Readings  string `arg:"" help:"Readings, one JSON object a line; - reads standard input." placeholder:"READINGS.jsonl"`
}

// Help is the long help of the command.
func (replayCommand) Help() string {
	return `A reading is a line such as
  {"wrench":"W1","counter":7,"torque":45.2,"unit":"N·m","angle":31,"direction":"tighten","at":"2026-03-01T09:30:00Z","fastener":"7"}
of which counter, angle, direction, at and fastener may be left out.
Exit code: 0 complete and clean, 1 something needs attention, 2 bad input.`
}

// Run matches and judges the readings of one joint with no database. Nothing is written before all input was read.
func (c *replayCommand) Run(s shop) error {
	text, err := os.ReadFile(c.Procedure)
	if err != nil {
		return inputError{fmt.Errorf("read procedure: %w", err)}
	}
	p, err := procedure.Parse(c.Procedure, text)
	if err != nil {
		return inputError{err}
	}
	j, ok := p.Joint(c.Joint)
	if !ok {
		return inputError{fmt.Errorf("%s has no joint %q; it has: %s", c.Procedure, c.Joint, jointIDs(p))}
	}
	in, name, err := c.open()
	if err != nil {
		return inputError{err}
	}
	defer in.Close()
	readings, err := replay.Read(name, in, j)
	if err != nil {
		return inputError{err}
	}
	r := bench.Replay(p, j, readings)
	if c.Format == "json" {
		err = replay.JSON(s.out, &r)
	} else {
		err = replay.Text(s.out, readings, &r)
	}
	if err == nil && (!r.Summary.Complete || len(r.Summary.Attention) > 0) {
		return errAttention
	}
	return err
}

func (c *replayCommand) open() (io.ReadCloser, string, error) {
	if c.Readings == "-" {
		return io.NopCloser(os.Stdin), "standard input", nil
	}
	f, err := os.Open(c.Readings)
	if err != nil {
		return nil, "", fmt.Errorf("read readings: %w", err)
	}
	return f, c.Readings, nil
}

func jointIDs(p *procedure.Procedure) string {
	var ids []string
	for _, j := range p.Joints {
		ids = append(ids, j.ID)
	}
	return strings.Join(ids, ", ")
}
