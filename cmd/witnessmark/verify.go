package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/mattn/go-isatty"

	"witnessmark/store"
	"witnessmark/store/ledger"
)

type verifyCommand struct {
	records
	Bundle     string `arg:"" optional:"" help:"A bundle to check, offline and without a database; the whole ledger if left out." placeholder:"FILE.zip" type:"existingfile"`
	Key        string `help:"Public key of the shop's ledger; the one in the data folder if left out." placeholder:"FILE" type:"existingfile"`
	Checkpoint string `help:"A checkpoint that was kept outside; the one in the data folder if left out." placeholder:"FILE" type:"existingfile"`
}

// Run checks a bundle, or makes every leaf anew from its row and checks the whole ledger; exit code 1 says what does not fit.
func (c *verifyCommand) Run(ctx context.Context, s shop) (err error) {
	if c.Bundle != "" {
		return checkBundle(s, c.Bundle, c.Key)
	}
	key, err := publicKey(c.Key, s)
	if err != nil {
		return err
	}
	kept, err := c.kept(s)
	if err != nil {
		return err
	}
	reader, closeAll, err := c.open(ctx, s)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, closeAll()) }()
	found, err := reader.Verify(ctx, key, kept, progress(s.log))
	var mismatch *store.Mismatch
	if errors.As(err, &mismatch) {
		fmt.Fprintf(s.out, "NOT OK: %v\n", mismatch)
		return errAttention
	}
	if err != nil {
		return err
	}
	fmt.Fprintf(s.out, "ok: shop %s, %d leaves made anew from their rows, %d signed checkpoints, root %s\n",
		reader.Shop(), found.Leaves, found.Checkpoints, found.Root)
	for _, k := range found.Keys {
		print, err := ledger.Fingerprint(k.Key)
		if err != nil {
			return err
		}
		fmt.Fprintf(s.out, "from checkpoint %d on signed with the key %s\n", k.From, print)
	}
	if len(kept) == 0 {
		fmt.Fprintln(s.out, "No checkpoint was kept outside: an older state of the whole database would not have been noticed.")
	} else {
		fmt.Fprintf(s.out, "It goes on from %d checkpoints that were kept outside.\n", found.Kept)
	}
	return nil
}

// kept reads the checkpoints that were kept outside the database.
func (c *verifyCommand) kept(s shop) ([]store.Kept, error) {
	file := c.Checkpoint
	if file == "" {
		file = s.folder().Outside()
	}
	outside, err := ledger.ReadOutside(file)
	if err != nil {
		return nil, inputError{err}
	}
	var kept []store.Kept
	if outside != nil {
		kept = append(kept, store.Kept{Where: file, Note: outside})
	}
	return kept, nil
}

// progress tells a person at a terminal how far things are; nobody else is told.
func progress(w io.Writer) func(done, all int64) {
	f, ok := w.(*os.File)
	if !ok || !isatty.IsTerminal(f.Fd()) {
		return nil
	}
	return func(done, all int64) {
		fmt.Fprintf(w, "\r%d of %d leaves", done, all)
		if done == all {
			fmt.Fprintln(w)
		}
	}
}
