package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/sheet"
	"witnessmark/device/unit"
)

type historyCommand struct {
	records
	Engine string      `required:"" help:"Serial number of the engine." placeholder:"SERIAL"`
	Format string      `help:"text or json; there, complete of a joint says that every step is done and every check accepted, and state says complete only while its release stands." enum:"text,json" default:"text"`
	Units  string      `help:"Unit of torques, e.g. N·m or lbf·ft; as the wrench wrote them if left out." placeholder:"UNIT"`
	Depth  sheet.Depth `help:"How deep the text goes: ${enum}; mark shows what was said of a reading before." enum:"overview,joint,fastener,mark" default:"fastener"`
	Raw    bool        `help:"Show the bytes of each reading as they came from the wrench."`

	SVG string `name:"svg" help:"Draw the order in which the joint was really done, against the wanted one, into this file; with --joint." placeholder:"FILE" type:"path"`

	Joint      string `help:"This joint only." placeholder:"ID" group:"Filters:"`
	Fastener   string `help:"This fastener only; readings once held to be of it belong to it too." placeholder:"ID" group:"Filters:"`
	Verdict    string `help:"Readings with this verdict only, e.g. 'low torque'." placeholder:"TEXT" group:"Filters:"`
	Flag       string `help:"Readings with this flag only, e.g. re-hit." placeholder:"TEXT" group:"Filters:"`
	Wrench     string `help:"Readings of this wrench only." placeholder:"ID" group:"Filters:"`
	Technician string `help:"What this person did only." placeholder:"NAME" group:"Filters:"`
}

// Run writes what is recorded of the engine.
func (c *historyCommand) Run(ctx context.Context, s shop) (err error) {
	var in unit.TorqueUnit
	if c.Units != "" {
		if in, err = unit.ParseTorqueUnit(c.Units); err != nil {
			return inputError{err}
		}
	}
	filter, err := c.filter()
	if err != nil {
		return inputError{err}
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
	if c.SVG != "" {
		if err := drawOrder(c.SVG, h, e, c.Joint); err != nil {
			return err
		}
	}
	e.Keep(filter)
	if c.Raw {
		e.AddRaw(h)
	}
	if c.Format == "json" {
		out := json.NewEncoder(s.out)
		out.SetIndent("", "  ")
		return out.Encode(e)
	}
	return e.Text(s.out, c.Depth)
}

func (c *historyCommand) filter() (sheet.Filter, error) {
	f := sheet.Filter{Joint: c.Joint, Fastener: c.Fastener, Wrench: c.Wrench, Verdict: audit.Verdict(c.Verdict), Flag: c.Flag, Technician: c.Technician}
	if c.SVG != "" && c.Joint == "" {
		return f, errors.New("a drawing holds one joint: name it with --joint")
	}
	return f, sayable(f.Verdict, f.Flag)
}

// sayable refuses a verdict or a flag that no reading can have; empty ones are not asked for.
func sayable(v audit.Verdict, flag string) error {
	if v != "" && !slices.Contains(audit.Verdicts(), v) {
		return fmt.Errorf("there is no verdict %q; there are: %v", v, listed(audit.Verdicts()))
	}
	if flag != "" && !slices.Contains(audit.Flags(), flag) {
		return fmt.Errorf("there is no flag %q; there are: %v", flag, listed(audit.Flags()))
	}
	return nil
}
