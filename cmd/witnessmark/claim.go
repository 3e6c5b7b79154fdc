package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"time"

	"witnessmark/cmd/witnessmark/internal/claim"
	"witnessmark/cmd/witnessmark/internal/sheet"
	"witnessmark/device/unit"
	"witnessmark/store"
)

type claimCommand struct {
	records
	Claim    string `arg:"" help:"Serial number of the engine, unit, work order or VIN; also a part of it, or one that was mistyped."`
	Joint    string `help:"Tell the whole story of this joint." placeholder:"JOINT"`
	Fastener string `help:"… of this fastener of it, and where its readings lie among all builds of the family." placeholder:"ID"`
	At       string `help:"Tell only what was known at the end of this day." placeholder:"DATE"`
	Format   string `help:"text or json." enum:"text,json" default:"text"`
	Units    string `help:"Unit of torques, e.g. N·m or lbf·ft; as the wrench wrote them if left out." placeholder:"UNIT"`
	SVG      string `name:"svg" help:"Draw where the fastener's readings lie into this file." placeholder:"FILE" type:"path"`
}

// enginesAtOnce is how many engines are told of at once; a unit may be a fleet's.
const enginesAtOnce = 10

// Run looks a claim up; exit code 1 says that nothing is known by that name.
func (c *claimCommand) Run(ctx context.Context, s shop) (err error) {
	in, until, err := c.input()
	if err != nil {
		return inputError{err}
	}
	reader, closeAll, err := c.open(ctx, s)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, closeAll()) }()
	found, err := reader.Find(ctx, c.Claim)
	if err != nil {
		return inputError{err}
	}
	answer := claim.New(c.Claim, found)
	if c.At != "" {
		answer.Known = &until
	}
	if answer.Sure() {
		if err := c.tell(ctx, reader, answer, in, until); err != nil {
			return err
		}
	}
	if err := c.write(s, answer); err != nil {
		return err
	}
	if !answer.Sure() {
		return errAttention
	}
	return nil
}

func (c *claimCommand) input() (in unit.TorqueUnit, until time.Time, err error) {
	if c.Units != "" {
		if in, err = unit.ParseTorqueUnit(c.Units); err != nil {
			return in, until, err
		}
	}
	until = time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)
	if c.At != "" {
		until, err = claim.Date(c.At)
	}
	switch {
	case err != nil:
	case c.Fastener != "" && c.Joint == "":
		err = errors.New("a fastener needs its joint: name it with --joint")
	case c.SVG != "" && c.Fastener == "":
		err = errors.New("the picture is of one fastener: name it with --joint and --fastener")
	}
	return in, until, err
}

// tell fills the answer with the builds of the engines found, and the story that was asked for.
func (c *claimCommand) tell(ctx context.Context, reader *store.Reader, answer *claim.Claim, in unit.TorqueUnit, until time.Time) error {
	engines := answer.Engines()
	if len(engines) > enginesAtOnce {
		return fmt.Errorf("%s stands for %d engines or more: name one by its serial number, such as %s", c.Claim, len(engines), strings.Join(engines[:5], ", "))
	}
	var joints []string
	for _, engine := range engines {
		h, err := reader.History(ctx, engine)
		if err != nil {
			return err
		}
		h.Until(until)
		e, err := sheet.Of(h, in)
		if err != nil {
			return err
		}
		answer.Add(h, e)
		if c.Joint == "" {
			continue
		}
		joints = append(joints, jointsOf(e)...)
		answer.Tell(h, e, c.Joint, c.Fastener)
		if err := c.stand(ctx, reader, answer.Story, h, until); err != nil {
			return err
		}
	}
	return c.refuseStory(answer, joints)
}

// stand reads what a fastener's readings are held against.
func (c *claimCommand) stand(ctx context.Context, reader *store.Reader, s *claim.Story, h *store.History, until time.Time) error {
	if c.Fastener == "" {
		return nil
	}
	among := map[store.Step]*store.Pulled{}
	for _, step := range s.Steps() {
		p, err := reader.Pulled(ctx, step, until)
		if err != nil {
			return err
		}
		among[step] = p
	}
	s.Stand(h, among)
	return nil
}

func jointsOf(e *sheet.Engine) []string {
	var out []string
	for _, b := range e.Builds {
		for _, j := range b.Joints {
			out = append(out, j.Joint)
		}
	}
	return out
}

// refuseStory says that there is no such joint or fastener.
func (c *claimCommand) refuseStory(answer *claim.Claim, joints []string) error {
	if c.Joint == "" {
		return nil
	}
	steps := 0
	for _, e := range answer.Story.Engines {
		for _, b := range e.Builds {
			for _, j := range b.Joints {
				steps += len(j.Steps)
			}
		}
	}
	switch {
	case len(joints) == 0:
		return fmt.Errorf("no joint of %s was ever begun", c.Claim)
	case steps == 0 && c.Fastener != "":
		return inputError{fmt.Errorf("joint %s of %s has no fastener %s; the joints are: %s", c.Joint, c.Claim, c.Fastener, strings.Join(slices.Compact(slices.Sorted(slices.Values(joints))), ", "))}
	case steps == 0:
		return inputError{fmt.Errorf("%s has no joint %s; it has: %s", c.Claim, c.Joint, strings.Join(slices.Compact(slices.Sorted(slices.Values(joints))), ", "))}
	}
	return nil
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
