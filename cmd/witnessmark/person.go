package main

import (
	"context"
	"fmt"

	"witnessmark/cmd/witnessmark/internal/control"
)

type personCommand struct {
	Forget   personForget   `cmd:"" help:"Blank a person's name and badges, when the time to keep them is over. What was recorded stays, and is proved as before."`
	Password personPassword `cmd:"" help:"Give a person a new password, on the machine of the daemon: the way back where one is lost."`
}

type personForget struct {
	person
	Who    string `arg:"" help:"Name of the person, or the id."`
	Reason string `required:"" help:"Why, as it shall stand in the record." placeholder:"TEXT"`
}

// Help is shown below the flags.
func (personForget) Help() string {
	return `The name is blanked in the database. The journal of this machine and backups made before hold it until they are replaced.`
}

// Run blanks the name.
func (c *personForget) Run(ctx context.Context, s shop) error {
	client := s.client()
	defer client.Close()
	done, err := client.Forget(ctx, control.Forget{Who: c.Who, Reason: c.Reason, Person: c.By})
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(s.out, "The name %s is blanked: what that person did stands under the id %s from now on, as entry %d says.\nThe journal of this machine and backups made before still hold the name.\n",
		c.Who, done.Person, done.Entry)
	return err
}
