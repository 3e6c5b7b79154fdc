package main

import (
	"context"
	"fmt"
	"os"
	"strings"
	"text/tabwriter"
	"time"

	"witnessmark/cmd/witnessmark/internal/control"
)

type tokenCommand struct {
	Give tokenGive `cmd:"" help:"Give a machine a token, by which it acts as a person over the network."`
	Take tokenTake `cmd:"" help:"Take a token back: it opens nothing from now on."`
	List tokenList `cmd:"" help:"List the tokens, as whom each acts, and until when."`
}

type tokenGive struct {
	person
	Name  string `arg:"" help:"Name of the token, such as that of the machine that will use it."`
	For   string `required:"" help:"Name of the person as whom it acts: it may what that person may, but nothing that asks for a password." placeholder:"NAME"`
	Days  int    `default:"${token_days}" help:"For how many days." placeholder:"N"`
	Write string `help:"File that is made to hold it, for --token-file; it is shown if left out." placeholder:"FILE" type:"path"`
}

// Run gives the token and shows it this once.
func (c *tokenGive) Run(ctx context.Context, s shop) error {
	client := s.client()
	defer client.Close()
	var to *os.File
	if c.Write != "" { // before the token is given, which cannot be asked for again
		var err error
		if to, err = os.OpenFile(c.Write, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600); err != nil {
			return inputError{fmt.Errorf("make the file for the token: %w", err)}
		}
		defer to.Close()
	}
	t, err := client.GiveToken(ctx, control.NewToken{Token: c.Name, For: c.For, Days: c.Days, Person: c.By})
	if err != nil {
		if to != nil {
			_ = os.Remove(c.Write) // it is empty
		}
		return err
	}
	said := fmt.Sprintf("token %s acts as %s until %s", t.Token, t.Person, t.Expires.Format(time.DateOnly))
	if to == nil {
		_, err = fmt.Fprintf(s.out, "%s; it is shown this once:\n%s\n", said, t.Secret)
		return err
	}
	if _, err := to.WriteString(t.Secret + "\n"); err != nil {
		return fmt.Errorf("write the token, which must be taken back and given anew: %w", err)
	}
	_, err = fmt.Fprintf(s.out, "%s; it is in %s\n", said, c.Write)
	return err
}

type tokenTake struct {
	person
	Name string `arg:"" help:"Name of the token."`
}

// Run takes the token back.
func (c *tokenTake) Run(ctx context.Context, s shop) error {
	client := s.client()
	defer client.Close()
	t, err := client.TakeToken(ctx, c.Name, control.TakeToken{Person: c.By})
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(s.out, "token %s is taken back\n", t.Token)
	return err
}

type tokenList struct{}

// Run lists the tokens.
func (tokenList) Run(ctx context.Context, s shop) error {
	client := s.client()
	defer client.Close()
	list, err := client.Tokens(ctx)
	if err != nil {
		return err
	}
	t := tabwriter.NewWriter(s.out, 2, 0, 2, ' ', 0)
	fmt.Fprintln(t, "TOKEN\tPERSON\tUNTIL")
	for _, one := range list {
		fmt.Fprintf(t, "%s\t%s\t%s\n", one.Token, one.Person, one.Expires.Format(time.DateOnly))
	}
	return t.Flush()
}

// network is how the running daemon is reached from another machine.
type network struct {
	Server    string `help:"Address of the pages, such as https://shop.lan:7680, for a command that speaks to the running daemon from elsewhere." placeholder:"URL" env:"WITNESSMARK_SERVER"`
	TokenFile string `help:"File with the token by which to act there; see witnessmark token give." placeholder:"FILE" type:"path" env:"WITNESSMARK_TOKEN_FILE"`
}

// client is one of the daemon at that address. What is wrong with address or token is what its calls say.
func (n network) client() *control.Client {
	if n.TokenFile == "" {
		return control.Refusing(control.Malformed(n.Server + " asks who you are: name the file of a token with --token-file"))
	}
	text, err := os.ReadFile(n.TokenFile)
	if err != nil {
		return control.Refusing(control.Malformed("read the token: " + err.Error()))
	}
	c, err := control.NewRemote(n.Server, strings.TrimSpace(string(text)))
	if err != nil {
		return control.Refusing(err)
	}
	return c
}
