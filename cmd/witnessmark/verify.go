package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"witnessmark/store"
	"witnessmark/store/ledger"
)

type verifyCommand struct {
	records
	Bundle     string   `arg:"" optional:"" help:"A bundle to check, offline and without a database; the whole ledger if left out." placeholder:"FILE.zip" type:"existingfile"`
	Key        string   `help:"Public key of the shop's ledger; the one in the data folder if left out." placeholder:"FILE" type:"existingfile"`
	Witness    []string `help:"A file of checkpoints that were kept elsewhere; may be given again." placeholder:"FILE" type:"existingfile"`
	WitnessKey []string `help:"Public key of a witness whose signature is to be looked for; may be given again." placeholder:"FILE" type:"existingfile"`
	Config     string   `help:"Configuration of the daemon: it says where the records are, and the checkpoints on another disk." placeholder:"FILE" type:"existingfile"`
	Checkpoint string   `help:"A checkpoint that was kept outside; the one in the data folder if left out." placeholder:"FILE" type:"existingfile"`
}

// Run checks a bundle, or makes every leaf anew from its row and checks the whole ledger; exit code 1 says what does not fit.
func (c *verifyCommand) Run(ctx context.Context, s shop, all *commands) error {
	if c.Bundle != "" {
		return checkBundle(s, c.Bundle, c.Key, c.WitnessKey)
	}
	cfg, err := c.configured(c.Config, &s, all)
	if err != nil {
		return err
	}
	return c.prove(ctx, s, cfg.Witness)
}

// prove checks the whole ledger; checkpoints may be kept in the file elsewhere too, empty: there is none.
func (c *verifyCommand) prove(ctx context.Context, s shop, elsewhere string) (err error) {
	key, err := publicKey(c.Key, s)
	if err != nil {
		return err
	}
	reader, closeAll, err := c.open(ctx, s)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, closeAll()) }()
	kept, err := c.kept(s, elsewhere, store.Origin(reader.Shop()))
	if err != nil {
		return inputError{err}
	}
	found, err := reader.Verify(ctx, key, kept, progress(s.log))
	var mismatch *store.Mismatch
	if errors.As(err, &mismatch) {
		fmt.Fprintf(s.out, "NOT OK: %v\n", mismatch)
		return errAttention
	}
	if err != nil {
		return err
	}
	head := "ok"
	if len(found.Losses) > 0 {
		head = "ok but for what was lost"
	}
	fmt.Fprintf(s.out, "%s: shop %s, %d leaves made anew from their rows, signed checkpoints: %d, root %s\n",
		head, reader.Shop(), found.Leaves, found.Checkpoints, found.Root)
	tellLosses(s.out, found)
	for _, k := range found.Keys {
		print, err := ledger.Fingerprint(k.Key)
		if err != nil {
			return err
		}
		fmt.Fprintf(s.out, "signed from %d leaves on with the key %s\n", k.From, print)
	}
	if len(kept) == 0 {
		fmt.Fprintln(s.out, "No checkpoint was kept outside: an older state of the whole database would not have been noticed.")
	} else {
		fmt.Fprintf(s.out, "Checkpoints kept outside from which it goes on: %d\n", found.Kept)
	}
	all, err := c.cosigned(s, kept)
	if err == nil && !all {
		return errAttention
	}
	return err
}

// tellLosses names the breaks in the record.
func tellLosses(w io.Writer, found store.Verified) {
	for _, l := range found.Losses {
		fmt.Fprintf(w, "BREAK behind leaf %d: %v\n", l.Remains, l)
	}
	for _, what := range found.Lost {
		fmt.Fprintf(w, "BREAK: %s, which is not there: it was lost, or changed before that was accepted\n", what)
	}
}

// kept reads the checkpoints that were kept outside the database.
func (c *verifyCommand) kept(s shop, elsewhere, origin string) ([]store.Kept, error) {
	file := c.Checkpoint
	if file == "" {
		if err := s.open(); err != nil {
			return nil, err
		}
		file = s.folder().Outside()
	}
	outside, err := ledger.ReadOutside(file)
	if err != nil {
		return nil, err
	}
	var all []store.Kept
	if outside != nil {
		all = append(all, store.Kept{Where: file, Note: outside})
	}
	files := c.Witness
	if elsewhere != "" {
		files = append(files, elsewhere)
	}
	for _, file := range files {
		more, err := witnessed(s, file, origin)
		if err != nil {
			return nil, err
		}
		all = append(all, more...)
	}
	return all, nil
}

// witnessed reads the checkpoints of one ledger out of a file, in which a witness may keep those of several.
func witnessed(s shop, file, origin string) ([]store.Kept, error) {
	notes, torn, err := ledger.ReadNotes(file)
	if err != nil {
		return nil, err
	}
	for _, line := range torn {
		fmt.Fprintf(s.out, "%s, line %d: no whole checkpoint, passed over: a power cut may have left it, or somebody changed it\n", file, line)
	}
	var out []store.Kept
	for _, n := range notes {
		if at, err := ledger.ParseCheckpoint(string(n.Note)); err == nil && at.Origin == origin {
			out = append(out, store.Kept{Where: fmt.Sprintf("%s, line %d", file, n.Line), Note: n.Note})
		}
	}
	return out, nil
}

// cosigned says how far each witness has signed; false where one has not.
func (c *verifyCommand) cosigned(s shop, kept []store.Kept) (bool, error) {
	all := true
	witnesses, err := verifiers(c.WitnessKey)
	if err != nil {
		return false, inputError{err}
	}
	for _, w := range witnesses {
		signed, newest := 0, int64(0)
		for _, k := range kept {
			if !ledger.SignedBy(k.Note, w) {
				continue
			}
			at, err := ledger.ParseCheckpoint(string(k.Note))
			if err != nil {
				return false, err
			}
			signed, newest = signed+1, max(newest, at.Size)
		}
		if signed == 0 {
			fmt.Fprintf(s.out, "NOT OK: no checkpoint bears the signature of the witness %s: name its file with --witness\n", w.Name())
			all = false
			continue
		}
		fmt.Fprintf(s.out, "The witness %s has signed %d of them, up to %d leaves.\n", w.Name(), signed, newest)
	}
	return all, nil
}

// progress tells a person at a terminal how far things are; nobody else is told.
func progress(w io.Writer) func(done, all int64) {
	if !terminal(w) {
		return nil
	}
	return func(done, all int64) {
		fmt.Fprintf(w, "\r%d of %d leaves", done, all)
		if done == all {
			fmt.Fprintln(w)
		}
	}
}
