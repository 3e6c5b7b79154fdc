package main

import (
	"context"
	"encoding/json"
	"errors"

	"witnessmark/cmd/witnessmark/internal/sheet"
	"witnessmark/device/unit"
)

type historyCommand struct {
	records
	Engine string `required:"" help:"Serial number of the engine." placeholder:"SERIAL"`
	Format string `help:"text or json." enum:"text,json" default:"text"`
	Units  string `help:"Unit of torques, e.g. N·m or lbf·ft; as the wrench wrote them if left out." placeholder:"UNIT"`
}

// Run writes everything recorded of the engine.
func (c *historyCommand) Run(ctx context.Context, s shop) (err error) {
	var in unit.TorqueUnit
	if c.Units != "" {
		if in, err = unit.ParseTorqueUnit(c.Units); err != nil {
			return inputError{err}
		}
	}
	reader, closeAll, err := c.open(ctx, s)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, closeAll()) }()
	h, err := reader.History(ctx, c.Engine)
	if err != nil {
		return err
	}
	e, err := sheet.Of(h, in)
	if err != nil {
		return err
	}
	if c.Format == "json" {
		out := json.NewEncoder(s.out)
		out.SetIndent("", "  ")
		return out.Encode(e)
	}
	return e.Text(s.out)
}
