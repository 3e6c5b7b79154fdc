package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"

	"witnessmark/cmd/witnessmark/internal/claim"
	"witnessmark/device/unit"
)

type claimCommand struct {
	records
	Claim    string `arg:"" help:"Serial number of the engine, unit, work order or VIN; also a part of it, or one that was mistyped."`
	Joint    string `help:"Tell the whole story of this joint." placeholder:"JOINT"`
	Fastener string `help:"… of this fastener of it, and where its readings lie among all builds of the family." placeholder:"ID"`
	At       string `help:"Tell only what was known at the end of this day." placeholder:"DATE"`
	Format   string `help:"text or json; there, complete of a joint says that every step is done and every check accepted, and state says complete only while its release stands." enum:"text,json" default:"text"`
	Units    string `help:"Unit of torques, e.g. N·m or lbf·ft; as the wrench wrote them if left out." placeholder:"UNIT"`
	SVG      string `name:"svg" help:"Draw where the fastener's readings lie into this file." placeholder:"FILE" type:"path"`
}

// Run looks a claim up; exit code 1 says that nothing is known by that name.
func (c *claimCommand) Run(ctx context.Context, s shop) (err error) {
	q, err := c.question()
	if err != nil {
		return inputError{err}
	}
	reader, closeAll, err := c.open(ctx, s)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, closeAll()) }()
	answer, err := claim.Look(ctx, reader, q)
	var wrong *claim.Wrong
	if errors.As(err, &wrong) {
		return inputError{err}
	}
	if err != nil {
		return err
	}
	if err := c.write(s, answer); err != nil {
		return err
	}
	if !answer.Sure() {
		return errAttention
	}
	return nil
}

func (c *claimCommand) question() (q claim.Question, err error) {
	q = claim.Question{Text: c.Claim, Joint: c.Joint, Fastener: c.Fastener}
	if c.Units != "" {
		if q.Unit, err = unit.ParseTorqueUnit(c.Units); err != nil {
			return q, err
		}
	}
	if c.At != "" {
		q.Until, err = claim.Date(c.At)
	}
	switch {
	case err != nil:
	case c.Fastener != "" && c.Joint == "":
		err = errors.New("a fastener needs its joint: name it with --joint")
	case c.SVG != "" && c.Fastener == "":
		err = errors.New("the picture is of one fastener: name it with --joint and --fastener")
	}
	return q, err
}

func (c *claimCommand) write(s shop, answer *claim.Claim) error {
	if c.SVG != "" && answer.Story != nil {
		if err := os.WriteFile(c.SVG, []byte(answer.Story.SVG()), 0o644); err != nil {
			return fmt.Errorf("write the picture: %w", err)
		}
	}
	if c.Format == "json" {
		out := json.NewEncoder(s.out)
		out.SetIndent("", "  ")
		return out.Encode(answer)
	}
	return answer.Text(s.out)
}
