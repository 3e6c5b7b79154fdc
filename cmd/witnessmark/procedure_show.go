package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"witnessmark/audit/procedure"
	"witnessmark/cmd/witnessmark/internal/drawing"
)

type procedureShow struct {
	File  string `arg:"" help:"Procedure file." type:"existingfile"`
	Joint string `help:"Joint to draw; left out: every joint." placeholder:"ID"`
	Stage string `help:"Stage whose order is drawn; left out: every stage that has an order of its own." placeholder:"ID"`
	SVG   string `name:"svg" help:"Write the drawing of one joint to this file as SVG." placeholder:"FILE"`
}

// Help is the long help of the command.
func (procedureShow) Help() string {
	return `Every fastener stands at its place, the number is the turn at which it is tightened, its id follows in brackets. Hold it
against the drawing in the engine maker's manual before the first build.`
}

// Run draws the joints. It needs no daemon.
func (c *procedureShow) Run(s shop) error {
	text, err := os.ReadFile(c.File)
	if err != nil {
		return inputError{fmt.Errorf("read procedure: %w", err)}
	}
	p, err := procedure.Parse(c.File, text)
	if err != nil {
		return inputError{err}
	}
	joints := p.Joints
	if c.Joint != "" {
		j, ok := p.Joint(c.Joint)
		if !ok {
			return inputError{fmt.Errorf("%s has no joint %q; it has: %s", c.File, c.Joint, jointIDs(p))}
		}
		joints = []procedure.Joint{*j}
	}
	if c.SVG != "" && len(joints) != 1 {
		return inputError{errors.New("an SVG file holds one joint: name it with --joint")}
	}
	for i := range joints {
		if err := c.joint(s, p, &joints[i]); err != nil {
			return err
		}
	}
	return nil
}

func (c *procedureShow) joint(s shop, p *procedure.Procedure, j *procedure.Joint) error {
	stages, err := c.stages(j)
	if err != nil {
		return err
	}
	fmt.Fprintf(s.out, "%s revision %s, %s (%s, class %s); the turn, and in brackets the fastener\n", p.Family, p.Revision, j.Title, j.ID, j.Criticality)
	for _, i := range stages {
		fmt.Fprintf(s.out, "\n%s\n\n%s", c.stageTitle(j, i, len(stages)), indented(drawing.Of(j, i).Text(76)))
	}
	fmt.Fprintln(s.out)
	if c.SVG == "" {
		return nil
	}
	if err := os.WriteFile(c.SVG, []byte(drawing.Of(j, stages[0]).SVG()), 0o644); err != nil {
		return fmt.Errorf("write the drawing: %w", err)
	}
	_, err = fmt.Fprintf(s.out, "drawn to %s\n", filepath.Base(c.SVG))
	return err
}

// stages picks what is to be drawn: the stage asked for, else the first, and every other one that goes another way.
func (c *procedureShow) stages(j *procedure.Joint) ([]int, error) {
	if c.Stage != "" {
		for i := range j.Stages {
			if j.Stages[i].ID == c.Stage {
				return []int{i}, nil
			}
		}
		return nil, inputError{fmt.Errorf("joint %s has no stage %q", j.ID, c.Stage)}
	}
	var list []int
	for i := range j.Stages {
		if alike(j, i)[0] == j.Stages[i].ID {
			list = append(list, i)
		}
	}
	if c.SVG != "" {
		list = list[:1]
	}
	return list, nil
}

func (c *procedureShow) stageTitle(j *procedure.Joint, stage, drawn int) string {
	if j.Round == procedure.RoundFastener {
		return "each fastener through all its stages, in this order:"
	}
	if drawn == 1 && c.Stage == "" && c.SVG == "" {
		return "all stages:"
	}
	ids := alike(j, stage)
	if c.Stage != "" || len(ids) == 1 {
		return "stage " + j.Stages[stage].ID + ":"
	}
	return "stages " + strings.Join(ids, ", ") + ":"
}

// alike names the stages of a joint that go the same way as one of them.
func alike(j *procedure.Joint, stage int) (ids []string) {
	way := drawing.Of(j, stage).Text(76)
	for i := range j.Stages {
		if drawing.Of(j, i).Text(76) == way {
			ids = append(ids, j.Stages[i].ID)
		}
	}
	return ids
}

func indented(text string) string {
	var b strings.Builder
	for line := range strings.Lines(text) {
		if strings.TrimSpace(line) != "" {
			b.WriteString("  ")
		}
		b.WriteString(line)
	}
	return b.String()
}
