package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"witnessmark/cmd/witnessmark/internal/paper"
	"witnessmark/cmd/witnessmark/internal/whole"
	"witnessmark/device/unit"
	"witnessmark/store/ledger"
)

type sheetCommand struct {
	records
	Build string `arg:"" help:"Build: its work order or its number."`
	Out   string `short:"o" required:"" help:"File to write." placeholder:"FILE.pdf"`
	Unit  string `help:"Unit of torques: N·m or lbf·ft." default:"N·m" placeholder:"UNIT"`
	Paper string `help:"A4 or letter." enum:"A4,letter" default:"A4"`
	Key   string `help:"Public key of the shop's ledger; the one in the data folder if left out." placeholder:"FILE" type:"existingfile"`
	Force bool   `help:"Write over a file that is there."`
}

// Help is the long help of the command.
func (sheetCommand) Help() string {
	return `The build sheet is for the customer: the engine, who and when, every joint with the order in which it was really done, every
reading, what is to be looked at, the wrenches, and the checkpoint that proves it. The same record gives the same bytes.`
}

// Run writes the build sheet.
func (c *sheetCommand) Run(ctx context.Context, s shop) (err error) {
	in, err := unit.ParseTorqueUnit(c.Unit)
	if err != nil {
		return inputError{err}
	}
	key, err := publicKey(c.Key, s)
	if err != nil {
		return err
	}
	reader, closeAll, err := c.open(ctx, s)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, closeAll()) }()
	h, err := reader.Build(ctx, c.Build)
	if err != nil {
		return inputError{err}
	}
	r, err := paper.Read(ctx, reader, h, key)
	if err != nil {
		return err
	}
	o := paper.Options{Unit: in, Paper: paper.Paper(c.Paper)}
	return whole.Write(c.Out, c.Force, func(w io.Writer) error { return paper.Sheet(w, r, o) })
}

// publicKey is the text of the key that the ledger of the shop is signed with.
func publicKey(file string, s shop) (string, error) {
	if file == "" {
		if err := s.open(); err != nil {
			return "", err
		}
		file = s.folder().Key() + ".pub"
	}
	if _, err := ledger.ReadVerifier(file); err != nil {
		return "", inputError{fmt.Errorf("%w; name the public key with --key", err)}
	}
	text, err := os.ReadFile(file)
	return strings.TrimSpace(string(text)), err
}
