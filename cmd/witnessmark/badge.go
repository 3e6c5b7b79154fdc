package main

import (
	"context"
	"fmt"
	"text/tabwriter"

	"witnessmark/cmd/witnessmark/internal/control"
)

type badgeCommand struct {
	Give badgeGive `cmd:"" help:"Give a badge to a person: scanned at a bench it signs that person in."`
	Take badgeTake `cmd:"" help:"Take a badge back: it belongs to nobody, and signs off whoever is signed in by it."`
	List badgeList `cmd:"" help:"List the badges and who has them."`
}

// badge is the flag that names one.
type badge struct {
	Badge string `required:"" help:"What the badge's label says, without its prefix." placeholder:"BADGE"`
}

type badgeGive struct {
	person
	badge
	To string `required:"" help:"Name of the person who gets it." placeholder:"NAME"`
}

// Run gives the badge.
func (c *badgeGive) Run(ctx context.Context, s shop) error {
	return s.give(ctx, control.NewBadge{Badge: c.Badge, To: c.To, Person: c.By})
}

type badgeTake struct {
	person
	badge
}

// Run takes the badge back.
func (c *badgeTake) Run(ctx context.Context, s shop) error {
	return s.give(ctx, control.NewBadge{Badge: c.Badge, Person: c.By})
}

func (s shop) give(ctx context.Context, in control.NewBadge) error {
	client := s.client()
	defer client.Close()
	b, err := client.GiveBadge(ctx, in)
	if err != nil {
		return err
	}
	if b.Person == "" {
		b.Person = "nobody"
	}
	_, err = fmt.Fprintf(s.out, "badge %s belongs to %s\n", b.Badge, b.Person)
	return err
}

type badgeList struct{}

// Run lists the badges.
func (badgeList) Run(ctx context.Context, s shop) error {
	client := s.client()
	defer client.Close()
	list, err := client.Badges(ctx)
	if err != nil {
		return err
	}
	t := tabwriter.NewWriter(s.out, 2, 0, 2, ' ', 0)
	fmt.Fprintln(t, "BADGE\tPERSON")
	for _, b := range list {
		fmt.Fprintf(t, "%s\t%s\n", b.Badge, b.Person)
	}
	return t.Flush()
}
