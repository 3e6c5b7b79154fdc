package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
)

type buildRelease struct {
	person
	Build    string `arg:"" help:"Work order of the build, or its number."`
	Reviewed uint64 `help:"Entry up to which you have reviewed it; up to now if left out." placeholder:"ENTRY"`
}

// Run releases the build.
func (c *buildRelease) Run(ctx context.Context, s shop) error {
	return s.onBuild(ctx, c.Build, func(client *control.Client, build uint64) error {
		rv, err := client.Release(ctx, build, control.Release{Reviewed: c.Reviewed, Person: c.By})
		return s.stands(rv, err)
	})
}

type buildReopen struct {
	person
	Build  string `arg:"" help:"Work order of the build, or its number."`
	Reason string `required:"" help:"Why." placeholder:"TEXT"`
}

// Run takes a release back.
func (c *buildReopen) Run(ctx context.Context, s shop) error {
	return s.onBuild(ctx, c.Build, func(client *control.Client, build uint64) error {
		rv, err := client.Reopen(ctx, build, control.Reopen{Reason: c.Reason, Person: c.By})
		return s.stands(rv, err)
	})
}

type concedeCommand struct {
	person
	Build    string   `arg:"" help:"Work order of the build, or its number."`
	Findings []string `arg:"" name:"finding" optional:"" help:"Ids of the findings, as the review shows them."`
	AllOf    string   `help:"Every finding of this kind that stands in the way: what its id begins with, such as re-hit, or its subject, such as 'flagged mark'. Each is an entry of its own." placeholder:"KIND"`
	Reason   string   `required:"" help:"Why they may stand." placeholder:"TEXT"`
	Second   string   `help:"Name of the second person, whom a joint of class A asks for." placeholder:"NAME"`
}

// Run records a concession for each finding and says what is left.
func (c *concedeCommand) Run(ctx context.Context, s shop) error {
	if (c.AllOf == "") == (len(c.Findings) == 0) {
		return inputError{errors.New("name the findings by their ids, or all of a kind with --all-of")}
	}
	return s.onBuild(ctx, c.Build, func(client *control.Client, build uint64) error {
		findings, err := c.findings(ctx, client, build)
		if err != nil {
			return err
		}
		for _, f := range findings {
			rv, err := client.Concede(ctx, build, control.Concede{Finding: f, Reason: c.Reason, Person: c.By, Second: c.Second})
			if err != nil {
				return err
			}
			fmt.Fprintf(s.out, "conceded: %s; %s\n", f, inTheWay(len(rv.Blocking())))
		}
		return nil
	})
}

// findings are the ids that are meant. Where a second person is wanted, the first concession without one refuses all of them.
func (c *concedeCommand) findings(ctx context.Context, client *control.Client, build uint64) ([]string, error) {
	if c.AllOf == "" {
		return c.Findings, nil
	}
	rv, err := client.Review(ctx, build)
	if err != nil {
		return nil, err
	}
	alike := rv.Alike(c.AllOf)
	if len(alike) == 0 {
		return nil, inputError{fmt.Errorf("no finding of the kind %q stands in the way of build %d: take the kind from the review", c.AllOf, build)}
	}
	slices.SortStableFunc(alike, func(a, b bench.Finding) int { return cmp.Compare(fmt.Sprint(b.Second), fmt.Sprint(a.Second)) })
	var ids []string
	for _, f := range alike {
		ids = append(ids, f.ID)
	}
	return ids, nil
}

type correctCommand struct {
	person
	Reading  uint64 `arg:"" help:"Number of the reading."`
	Fastener string `help:"The fastener that it was." placeholder:"ID"`
	Build    string `help:"Work order of the build, or its number, of a reading that came with no joint on the bench." placeholder:"BUILD"`
	Joint    string `help:"Joint of that build." placeholder:"ID"`
	None     bool   `help:"It was none of its joint, e.g. a test on the bench block."`
	Stage    string `help:"The stage that it was, where that does not follow." placeholder:"ID"`
	Reason   string `required:"" help:"How you know." placeholder:"TEXT"`
}

// Run records the correction and shows what it changes.
func (c *correctCommand) Run(ctx context.Context, s shop) error {
	if c.None == (c.Fastener != "") {
		return inputError{errors.New("say which fastener it was with --fastener, or --none")}
	}
	if (c.Build == "") != (c.Joint == "") {
		return inputError{errors.New("--build and --joint go together: they say where a reading belongs that came with no joint on the bench")}
	}
	client := s.client()
	defer client.Close()
	var build uint64
	if c.Build != "" {
		var err error
		if build, err = buildOf(ctx, client, c.Build); err != nil {
			return err
		}
	}
	out, err := client.Correct(ctx, control.Correct{Reading: c.Reading, Build: build, Joint: c.Joint, Fastener: c.Fastener, Stage: c.Stage, Reason: c.Reason, Person: c.By})
	if err != nil {
		return err
	}
	if len(out.Marks) == 0 {
		fmt.Fprintf(s.out, "build %d: recorded; nothing else is held of the readings than before\n", out.Build)
	}
	for _, m := range out.Marks {
		fmt.Fprintf(s.out, "build %d: reading %d is now %s\n", out.Build, m.Reading, outcome(m))
	}
	return nil
}

// outcome is what a mark says, in a few words.
func outcome(m audit.Mark) string {
	words := "no step of joint " + m.Joint
	if m.Fastener != "" {
		words = fmt.Sprintf("joint %s, stage %s, fastener %s: %s", m.Joint, m.Stage, m.Fastener, m.Verdict)
	}
	if len(m.Flags) > 0 {
		words += " (" + strings.Join(m.Flags, ", ") + ")"
	}
	return words
}

// onBuild finds a build for an action on it.
func (s shop) onBuild(ctx context.Context, text string, do func(*control.Client, uint64) error) error {
	client := s.client()
	defer client.Close()
	build, err := buildOf(ctx, client, text)
	if err != nil {
		return err
	}
	return do(client, build)
}

// stands says how a build stands after an action on it.
func (s shop) stands(rv bench.Review, err error) error {
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(s.out, "build %d: engine %s, work order %s: %s\n", rv.Build, rv.Engine, rv.WorkOrder, rv.Standing)
	return err
}
