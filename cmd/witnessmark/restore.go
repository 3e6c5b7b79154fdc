package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/backup"
)

type restoreCommand struct {
	File           string   `arg:"" help:"The backup." placeholder:"FILE" type:"existingfile"`
	Database       string   `help:"URL of an empty database to restore into; a private one in the data folder if left out." placeholder:"URL" env:"WITNESSMARK_DATABASE"`
	Identity       []string `help:"Private key of age that the backup is encrypted for; may be given again." placeholder:"FILE" type:"existingfile"`
	PassphraseFile string   `help:"File whose first line is the passphrase of the backup." placeholder:"FILE" type:"existingfile"`
	Shop           string   `help:"Refuse the backup of any other shop." placeholder:"ID"`
	CheckOnly      bool     `help:"Check the backup and say what is in it; restore nothing."`
}

// Help is shown below the flags.
func (restoreCommand) Help() string {
	return `The backup is checked whole before anything is written. It is restored into the folder named by --data, which must be missing or empty, and
the record is then proved as by witnessmark verify. What the journal holds beyond the database is brought in by the daemon when
it starts. Restore only what comes from your own shop: a dump of a database can run commands on the machine.`
}

// Run restores the backup and proves what came out.
func (c *restoreCommand) Run(ctx context.Context, s shop, all *commands) (err error) {
	if all.Data == "" && !c.CheckOnly {
		return inputError{errors.New("say with --data into which empty folder the backup is to be restored")}
	}
	ids, err := backup.Identities(c.Identity, c.PassphraseFile)
	if err != nil {
		return inputError{err}
	}
	a, err := backup.Open(c.File, ids)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, a.Close()) }()
	if c.Shop != "" && c.Shop != a.Shop {
		return inputError{fmt.Errorf("%s is a backup of the shop %s, not of %s", c.File, a.Shop, c.Shop)}
	}
	told := bytesTold(s.log)
	if err := a.Check(ctx, told); err != nil {
		return err
	}
	fmt.Fprintf(s.out, "%s: shop %s, taken %s, %d entries of the journal, %d parts, each as its manifest says\n",
		c.File, a.Shop, audit.When(a.Taken), a.Entries, len(a.Parts))
	if c.CheckOnly {
		return nil
	}
	if err := a.Restore(ctx, s.folder(), c.Database, told); err != nil {
		return err
	}
	return c.prove(ctx, s, a.Shop)
}

// prove runs verify over what was restored. What does not fit then did not fit when the backup was made, so the restore counts
// as finished all the same.
func (c *restoreCommand) prove(ctx context.Context, s shop, of string) error {
	proof := verifyCommand{records: records{Database: c.Database, Shop: of}}
	err := proof.prove(ctx, s, "")
	if err != nil && !errors.Is(err, errAttention) {
		return fmt.Errorf("the restored record could not be looked at, so the folder stays marked as unfinished: %w", err)
	}
	if err := errors.Join(err, backup.Finish(s.folder())); err != nil {
		return err
	}
	fmt.Fprintf(s.out, "Restored into %s. Go on with witnessmark serve --data %s and the configuration", s.data, s.data)
	if there, _ := filepath.Glob(filepath.Join(s.data, "configuration.yaml")); len(there) > 0 {
		fmt.Fprintf(s.out, " %s", there[0])
	}
	_, err = fmt.Fprintln(s.out, "; keep the old daemon stopped.")
	return err
}
