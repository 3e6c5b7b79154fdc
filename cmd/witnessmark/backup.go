package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"witnessmark/cmd/witnessmark/internal/backup"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/cmd/witnessmark/internal/daemon"
	"witnessmark/store"
	"witnessmark/store/cluster"
	"witnessmark/store/journal"
)

type backupCommand struct {
	records
	Out            string   `short:"o" required:"" help:"The file to write; nothing may be there." placeholder:"FILE" type:"path"`
	Recipient      []string `help:"Encrypt for this public key of age; may be given again." placeholder:"age1…" xor:"seal"`
	PassphraseFile string   `help:"Encrypt with the first line of this file." placeholder:"FILE" type:"existingfile" xor:"seal"`
	Plain          bool     `help:"Do not encrypt: whoever has the file reads everything, names too, and can sign as the shop." xor:"seal"`
	Identity       []string `help:"Private key of a recipient: the backup is read back with it. With a key of the moment if left out." placeholder:"FILE" type:"existingfile"`
	NoEvidence     bool     `name:"without-evidence" help:"Leave out the bytes that came from the wrenches: the folder evidence, where that is large."`
	Config         string   `help:"Configuration of the daemon: it is taken along, and says where the database is." placeholder:"FILE" type:"existingfile"`
}

// Help is shown below the flags.
func (backupCommand) Help() string {
	return `The database, the journal, the keys, the newest checkpoint and the configuration go into one file, while the daemon works or while it
is stopped; so do the bytes that came from the wrenches, as far as they are kept (the folder evidence), unless --without-evidence
leaves them out: they can be larger than all the rest. The file is read back and checked whole before it gets its name. It is a zip
file inside age, so that age -d and unzip open it too.`
}

// Run writes the backup and says what is in it.
func (c *backupCommand) Run(ctx context.Context, s shop, all *commands) (err error) {
	seal, err := c.seal()
	if err != nil {
		return inputError{err}
	}
	src := backup.Source{Configuration: c.Config, NoEvidence: c.NoEvidence, Version: version(), Now: time.Now().UTC()}
	if _, err := c.configured(c.Config, &s, all); err != nil {
		return err
	}
	src.Folder = s.folder()
	read, letGo, err := journalOf(ctx, s)
	if err != nil {
		return err
	}
	src.Journal = read
	defer func() { err = errors.Join(err, letGo()) }()
	tools, stop, err := c.tools(ctx, s, &src)
	if err != nil {
		return err
	}
	src.Tools = tools
	defer func() { err = errors.Join(err, stop()) }()
	a, err := backup.Take(ctx, c.Out, src, seal, bytesTold(s.log))
	if err != nil {
		return err
	}
	if err := src.Folder.NoteBackup(src.Now); err != nil {
		return fmt.Errorf("%s is whole, but nobody will be told when it was taken: %w", c.Out, err)
	}
	return c.tell(s, a)
}

func (c *backupCommand) seal() (backup.Seal, error) {
	switch {
	case c.Plain:
		return backup.Plain(), nil
	case c.PassphraseFile != "":
		return backup.WithPassphrase(c.PassphraseFile)
	case len(c.Recipient) > 0:
		ids, err := backup.Identities(c.Identity, "")
		if err != nil {
			return backup.Seal{}, err
		}
		return backup.For(c.Recipient, ids)
	}
	return backup.Seal{}, errors.New("say for whom the backup is encrypted: --recipient age1…, --passphrase-file FILE, or --plain if everybody who has the file may read it and sign as the shop")
}

func (c *backupCommand) tell(s shop, a *backup.Archive) error {
	fmt.Fprintf(s.out, "%s: shop %s, %d entries of the journal, %d parts, read back and checked\n", c.Out, a.Shop, a.Entries, len(a.Parts))
	if c.Plain {
		fmt.Fprintln(s.out, "It is not encrypted: whoever has the file reads everything, names too, and can sign as the shop.")
	}
	_, err := fmt.Fprintln(s.out, "Keep it on another machine, and try now and then that it can be restored: witnessmark restore.")
	return err
}

// journalOf gives the way to a copy of the journal: from the daemon, or from the file where none runs. Then the folder stays
// locked until letGo, so that none starts meanwhile.
func journalOf(ctx context.Context, s shop) (read func(context.Context, io.Writer) error, letGo func() error, err error) {
	if err := s.open(); err != nil {
		return nil, nil, err
	}
	file := s.folder().Journal()
	if _, err := os.Stat(file); err != nil {
		return nil, nil, inputError{fmt.Errorf("no journal in %s: name the data folder with --data", s.data)}
	}
	lock, err := s.folder().Lock()
	if errors.Is(err, daemon.ErrTaken) {
		client := control.NewClient(s.folder().Socket())
		if _, err := client.Status(ctx); errors.Is(err, control.ErrNoDaemon) {
			return nil, nil, control.Refuse(fmt.Sprintf("something works in %s and no daemon answers there, so it may be another backup, or a daemon that is starting: repeat when that is done", s.data))
		}
		return client.CopyJournal, func() error { client.Close(); return nil }, nil
	}
	if err != nil {
		return nil, nil, err
	}
	j, err := journal.Open(file, time.Now)
	if err != nil {
		return nil, nil, errors.Join(err, lock.Close())
	}
	read = func(ctx context.Context, w io.Writer) error { _, err := j.Copy(ctx, w); return err }
	return read, func() error { return errors.Join(j.Close(), lock.Close()) }, nil
}

// tools finds the database and looks whose records it holds.
func (c *backupCommand) tools(ctx context.Context, s shop, src *backup.Source) (tools cluster.Tools, stop func() error, err error) {
	url, stop := c.Database, func() error { return nil }
	if url == "" {
		p, err := s.private(ctx)
		if err != nil {
			return tools, nil, err
		}
		url, stop = p.ConnString(), func() error { return p.Stop(context.WithoutCancel(ctx)) }
		tools, err = p.Tools()
		if err != nil {
			return tools, nil, errors.Join(err, stop())
		}
	} else if tools, err = cluster.ToolsFor(url); err != nil {
		return tools, nil, inputError{err}
	}
	reader, err := store.OpenReader(ctx, url, c.Shop)
	if err != nil {
		return tools, nil, errors.Join(err, stop())
	}
	src.Shop = reader.Shop()
	if err := reader.Close(); err != nil {
		return tools, nil, errors.Join(err, stop())
	}
	return tools, stop, nil
}

// bytesTold tells a person at a terminal how far things are; nobody else is told.
func bytesTold(w io.Writer) backup.Told {
	if !terminal(w) {
		return nil
	}
	var last time.Time
	var was string
	return func(what string, bytes int64) {
		if was == what && time.Since(last) < 200*time.Millisecond {
			return
		}
		last, was = time.Now(), what
		fmt.Fprintf(w, "\r\x1b[K%s: %.1f MB", what, float64(bytes)/1e6)
	}
}
