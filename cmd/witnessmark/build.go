package main

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"text/tabwriter"

	"witnessmark/cmd/witnessmark/internal/control"
)

// person is the flag of every command that records who did something.
type person struct {
	By string `help:"Your name, as it shall stand in the record; needed where no token says it." placeholder:"NAME" env:"WITNESSMARK_PERSON"`
}

// AfterApply asks for the name where nothing else says it.
func (p *person) AfterApply(n *network) error {
	if strings.TrimSpace(p.By) == "" && n.Server == "" {
		return errors.New("say who does this: give your name with --by")
	}
	return nil
}

// atWork is that flag where a badge may stand in for it.
type atWork struct {
	By string `help:"Your name, as it shall stand in the record; left out: whoever is signed in at the bench." placeholder:"NAME" env:"WITNESSMARK_PERSON"`
}

type buildCommand struct {
	Open buildOpen `cmd:"" help:"Open a build of an engine under a work order."`
	List buildList `cmd:"" help:"List the builds."`

	Review  buildReview  `cmd:"" help:"Show what stands between a build and its release, worst first."`
	Release buildRelease `cmd:"" help:"Release a build: sign for it, and for the ledger as it stands."`
	Reopen  buildReopen  `cmd:"" help:"Take a release back, with a reason."`
}

type buildOpen struct {
	person
	Engine    string `required:"" help:"Serial number of the engine." placeholder:"SERIAL"`
	Family    string `required:"" help:"Engine family; it names the procedure." placeholder:"FAMILY"`
	Revision  string `help:"Revision of the procedure; the newest one if left out." placeholder:"REV"`
	WorkOrder string `required:"" help:"Work order." placeholder:"ORDER"`
	Unit      string `help:"The machine that the engine belongs to." placeholder:"UNIT"`
}

// Run opens the build.
func (c *buildOpen) Run(ctx context.Context, s shop) error {
	client := s.client()
	defer client.Close()
	b, err := client.OpenBuild(ctx, control.NewBuild{Engine: c.Engine, Family: c.Family, Revision: c.Revision,
		WorkOrder: c.WorkOrder, Unit: c.Unit, Person: c.By})
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(s.out, "build %d: engine %s, work order %s, procedure %s revision %s\n", b.ID, b.Engine, b.WorkOrder, b.Family, b.Revision)
	return err
}

type buildList struct{}

// Run lists the builds.
func (buildList) Run(ctx context.Context, s shop) error {
	client := s.client()
	defer client.Close()
	list, err := client.Builds(ctx)
	if err != nil {
		return err
	}
	if len(list) == 0 {
		_, err := fmt.Fprintln(s.out, "No build was opened yet: open one with `witnessmark build open`.")
		return err
	}
	t := tabwriter.NewWriter(s.out, 2, 0, 2, ' ', 0)
	fmt.Fprintln(t, "BUILD\tENGINE\tWORK ORDER\tUNIT\tPROCEDURE\tSTATE")
	for _, b := range list {
		state := string(b.Standing)
		if b.InDoubt != "" {
			state += ", but " + b.InDoubt
		}
		fmt.Fprintf(t, "%d\t%s\t%s\t%s\t%s revision %s\t%s\n", b.ID, b.Engine, b.WorkOrder, b.Unit, b.Family, b.Revision, state)
	}
	return t.Flush()
}

// buildOf finds a build by its work order, else by its number.
func buildOf(ctx context.Context, client *control.Client, text string) (uint64, error) {
	list, err := client.Builds(ctx)
	if err != nil {
		return 0, err
	}
	var found []string
	var id uint64
	for _, b := range list {
		if b.WorkOrder == text {
			found, id = append(found, strconv.FormatUint(b.ID, 10)), b.ID
		}
	}
	switch n, err := strconv.ParseUint(text, 10, 64); {
	case len(found) == 1:
		return id, nil
	case len(found) > 1:
		return 0, inputError{fmt.Errorf("work order %s has the builds %s: name one by its number", text, strings.Join(found, ", "))}
	case err == nil:
		return n, nil
	}
	return 0, inputError{fmt.Errorf("no build under work order %s: open one with `witnessmark build open`", text)}
}
