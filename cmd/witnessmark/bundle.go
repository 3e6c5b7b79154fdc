package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"witnessmark/cmd/witnessmark/internal/parcel"
	"witnessmark/cmd/witnessmark/internal/whole"
	"witnessmark/store"
	"witnessmark/store/bundle"
)

type bundleCommand struct {
	records
	Build   string   `arg:"" help:"Work order or number of the build."`
	Out     string   `short:"o" required:"" help:"The zip file to write." placeholder:"FILE.zip" type:"path"`
	With    []string `help:"A file to put in beside the entries, such as a photograph; may be given again." placeholder:"FILE" type:"existingfile"`
	Witness string   `help:"A file of checkpoints that a witness has signed; the newest of this shop in it is proved against." placeholder:"FILE" type:"existingfile"`
	Force   bool     `help:"Write over a file that is there."`
	Key     string   `help:"Public key of the shop's ledger; the one in the data folder if left out." placeholder:"FILE" type:"existingfile"`
}

// Run writes the bundle of a build, and says what its receiver must be told by another way.
func (c *bundleCommand) Run(ctx context.Context, s shop) (err error) {
	key, err := publicKey(c.Key, s)
	if err != nil {
		return err
	}
	extra, err := extras(c.With)
	if err != nil {
		return inputError{err}
	}
	reader, closeAll, err := c.open(ctx, s)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, closeAll()) }()
	signed, err := c.signed(s, reader.Shop())
	if err != nil {
		return err
	}
	p, err := parcel.Pack(ctx, reader, parcel.Order{Build: c.Build, Key: key, Signed: signed, Extra: extra, Progress: progress(s.log)})
	if err != nil {
		return err
	}
	err = whole.Write(c.Out, c.Force, func(w io.Writer) error { _, err := w.Write(p.Zip); return err })
	if err != nil {
		return err
	}
	fmt.Fprintf(s.out, "%s: build %d, engine %s, %d entries proved against the ledger of %d leaves\n",
		c.Out, p.Build, p.Engine, p.Entries, p.Size)
	fmt.Fprintf(s.out, "key fingerprint, to be told by another way than the file: %s\n", p.Fingerprint)
	return nil
}

// signed is the newest checkpoint that the witness signed, nil where none is named.
func (c *bundleCommand) signed(s shop, shopID string) ([]byte, error) {
	if c.Witness == "" {
		return nil, nil
	}
	notes, err := witnessed(s, c.Witness, store.Origin(shopID))
	if err != nil {
		return nil, inputError{err}
	}
	if len(notes) == 0 {
		return nil, inputError{fmt.Errorf("%s holds no checkpoint of %s: name the file that this shop's witness writes", c.Witness, store.Origin(shopID))}
	}
	return notes[len(notes)-1].Note, nil
}

// extras reads the files that go into a bundle beside the entries.
func extras(paths []string) ([]bundle.Extra, error) {
	var out []bundle.Extra
	for _, path := range paths {
		data, err := os.ReadFile(path)
		if err != nil {
			return nil, fmt.Errorf("read a file for the bundle: %w", err)
		}
		out = append(out, bundle.Extra{Name: filepath.Base(path), Data: data})
	}
	return out, nil
}

// checkBundle checks a bundle without a database; exit code 1 says what does not fit.
func checkBundle(s shop, file, keyFile string, witnessKeys []string) error {
	key := ""
	if keyFile != "" {
		var err error
		if key, err = publicKey(keyFile, s); err != nil {
			return err
		}
	}
	zip, err := os.ReadFile(file)
	if err != nil {
		return inputError{fmt.Errorf("read bundle: %w", err)}
	}
	witnesses, err := verifiers(witnessKeys)
	if err != nil {
		return inputError{err}
	}
	found, err := bundle.Check(bytes.NewReader(zip), int64(len(zip)), key, witnesses...)
	if err != nil {
		fmt.Fprintf(s.out, "NOT OK: %v\n", err)
		return errAttention
	}
	for _, f := range found.Faults {
		fmt.Fprintf(s.out, "NOT OK: %s\n", f)
	}
	if len(found.Faults) > 0 {
		return errAttention
	}
	fmt.Fprintf(s.out, "ok: build %d, engine %s, work order %s: %d entries are in the ledger %s of %d leaves\n", found.Build,
		found.Engine, found.WorkOrder, len(found.Entries), found.Checkpoint.Origin, found.Checkpoint.Size)
	for _, w := range witnesses {
		fmt.Fprintf(s.out, "The witness %s has signed it too.\n", w.Name())
	}
	if found.ClockSet > 0 {
		fmt.Fprintf(s.out, "Times that the clock was set between its first and its last entry: %d. The times before may be wrong, the order is not.\n", found.ClockSet)
	}
	if len(found.Files) > 0 {
		fmt.Fprintf(s.out, "Added files, undamaged: %d. The ledger does not prove what they say.\n", len(found.Files))
	}
	if found.Trusted {
		fmt.Fprintf(s.out, "It is signed with the key given, %s.\n", found.Fingerprint)
		return nil
	}
	fmt.Fprintf(s.out, "It was checked with the key that lies in the bundle itself. Anybody can make such a bundle with a key of his own:\n"+
		"ask the shop by another way whether this is the fingerprint of its key: %s\n", found.Fingerprint)
	return nil
}
