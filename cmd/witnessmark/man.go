package main

import (
	"fmt"

	"github.com/alecthomas/kong"
	mangokong "github.com/alecthomas/mango-kong"
	"github.com/muesli/roff"

	"witnessmark/cmd/witnessmark/internal/show"
)

// manFlag writes the manual page, from the same words as --help.
type manFlag bool

// BeforeApply ends the program with the page.
func (manFlag) BeforeApply(app *kong.Kong) error {
	page := mangokong.NewManPage(1, app.Model).WithSection("Safety", show.Safety)
	_, err := fmt.Fprint(app.Stdout, page.Build(roff.NewDocument()))
	app.Exit(0)
	return err
}
