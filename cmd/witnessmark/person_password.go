package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"

	"golang.org/x/term"

	"witnessmark/cmd/witnessmark/internal/control"
)

type personPassword struct {
	Who          string `arg:"" help:"Name of the person, as it stands in the record."`
	PasswordFile string `help:"The first line of this file is the password; asked for at the terminal, twice, if left out." placeholder:"FILE" type:"existingfile"`
}

// Help is shown below the flags.
func (personPassword) Help() string {
	return `For a lost password, the only administrator's too, and for a new database that was filled from the journal: passwords lie in the database alone and
are no part of the record, so no entry is made; the log of the daemon says whose password is new. It goes to the running daemon through its
socket, never over the network: whoever may open that socket may do this. All sessions of the person end; roles, badge, PIN and tokens stay.`
}

// Run asks for the password and gives it to the person.
func (c *personPassword) Run(ctx context.Context, s shop) error {
	if s.remote.Server != "" {
		return inputError{errors.New("a password is given on the machine of the daemon: leave out --server")}
	}
	password, err := c.password(ctx, s)
	if err != nil {
		return err
	}
	client := s.client()
	defer client.Close()
	done, err := client.GivePassword(ctx, control.NewPassword{Who: c.Who, Password: password})
	if err != nil {
		return err
	}
	fmt.Fprintf(s.out, "%s has a new password and is signed in nowhere any more.\n", done.Person)
	if !done.Signs {
		fmt.Fprintln(s.out, "That person has no role, so the password opens nothing yet: an administrator gives roles under People on the pages.")
	}
	return nil
}

func (c *personPassword) password(ctx context.Context, s shop) (string, error) {
	if c.PasswordFile != "" {
		text, err := os.ReadFile(c.PasswordFile)
		line, _, _ := strings.Cut(string(text), "\n")
		return strings.TrimSuffix(line, "\r"), err
	}
	if !term.IsTerminal(int(os.Stdin.Fd())) {
		return "", inputError{errors.New("nobody sits at a terminal who could be asked: name with --password-file a file whose first line is the password")}
	}
	first, err := asked(ctx, s, "New password for "+c.Who+": ")
	if err != nil {
		return "", err
	}
	again, err := asked(ctx, s, "The same once more: ")
	if err == nil && again != first {
		err = inputError{errors.New("the two are not the same, so nothing was changed: do it again")}
	}
	return first, err
}

// asked reads a line from the terminal without showing it. Where ctx ends first the terminal shows what is typed again.
func asked(ctx context.Context, s shop, question string) (string, error) {
	in := int(os.Stdin.Fd())
	before, err := term.GetState(in)
	if err != nil {
		return "", fmt.Errorf("ask for the password: %w", err)
	}
	fmt.Fprint(s.log, question)
	defer fmt.Fprintln(s.log) // the typed end of the line is not shown either
	type typed struct {
		line []byte
		err  error
	}
	done := make(chan typed, 1)
	go func() {
		line, err := term.ReadPassword(in)
		done <- typed{line, err}
	}()
	select {
	case t := <-done:
		if t.err != nil {
			return "", fmt.Errorf("ask for the password: %w", t.err)
		}
		return string(t.line), nil
	case <-ctx.Done():
		return "", errors.Join(errors.New("stopped, and nothing was changed"), term.Restore(in, before))
	}
}
