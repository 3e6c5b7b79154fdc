package main

import (
	"fmt"

	"github.com/alecthomas/kong"
	mangokong "github.com/alecthomas/mango-kong"
	"github.com/muesli/roff"
)

// manFlag writes the manual page, from the same words as --help.
type manFlag bool

// BeforeApply ends the program with the page.
func (manFlag) BeforeApply(app *kong.Kong) error {
	page := mangokong.NewManPage(1, app.Model).WithSection("Safety", safety)
	_, err := fmt.Fprint(app.Stdout, page.Build(roff.NewDocument()))
	app.Exit(0)
	return err
}
