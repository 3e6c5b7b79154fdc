package main

import (
	"context"
	"errors"
	"fmt"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/cmd/witnessmark/internal/daemon"
	"witnessmark/store/ledger"
)

type ledgerCommand struct {
	Keys      ledgerKeys    `cmd:"" help:"Show the keys that the ledger was and is signed with."`
	RotateKey ledgerKey     `cmd:"" help:"Sign the ledger with a new key from now on."`
	Loss      ledgerLoss    `cmd:"" name:"accept-loss" help:"Accept that a part of the record is lost for good, so that the daemon goes on without it."`
	Journal   ledgerJournal `cmd:"" name:"rebuild-journal" help:"Write a journal that is lost anew from the database."`
	Proof     ledgerProof   `cmd:"" help:"Ask a witness to sign a checkpoint: print it with the proof that the ledger goes on from an earlier size."`
}

type ledgerKeys struct {
	records
	Key string `help:"A public key of the shop's ledger; the one in the data folder if left out." placeholder:"FILE" type:"existingfile"`
}

// Run lists the keys with their fingerprints.
func (c *ledgerKeys) Run(ctx context.Context, s shop) (err error) {
	first, err := publicKey(c.Key, s)
	if err != nil {
		return err
	}
	reader, closeAll, err := c.open(ctx, s)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, closeAll()) }()
	changes, err := reader.KeyChanges(ctx)
	if err != nil {
		return err
	}
	if len(changes) > 0 {
		first = changes[0].OldKey
	}
	if err := showKey(s, "from the beginning", first); err != nil {
		return err
	}
	for _, k := range changes {
		since := fmt.Sprintf("since %s, by %s (%s)", audit.When(k.At), orUnknown(k.Person), k.Reason)
		if err := showKey(s, since, k.NewKey); err != nil {
			return err
		}
	}
	return nil
}

func orUnknown(name string) string {
	if name == "" {
		return "a person whose name was blanked"
	}
	return name
}

func showKey(s shop, since, key string) error {
	print, err := ledger.Fingerprint(key)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(s.out, "%s\n  %s\n  fingerprint %s\n", since, key, print)
	return err
}

type ledgerKey struct {
	person
	Reason string `required:"" help:"Why the key is changed, as it shall stand in the record." placeholder:"TEXT"`
}

// Help is the long help of the command.
func (ledgerKey) Help() string {
	return `The change is an entry of the ledger. The first checkpoint that holds it is signed with both keys, so that whoever trusts one can
trust the other. The old private key stays in the data folder (keys/signing, then keys/signing-2 and so on), because a lost
database that is written anew from the journal must be signed as it was; if it must not lie there, keep it in a safe place
and leave its .pub file. A bundle or a build sheet from before the change is checked with the old public key.`
}

// Run changes the key and says which one to hand out.
func (c *ledgerKey) Run(ctx context.Context, s shop) error {
	client := s.client()
	defer client.Close()
	k, err := client.ChangeKey(ctx, control.NewKey{Reason: c.Reason, Person: c.By})
	if err != nil {
		return err
	}
	return showKey(s, "From now on the ledger is signed with this key. Hand it out, and keep a copy of the folder keys/:", k.New)
}

type ledgerLoss struct {
	person
	Reason string `required:"" help:"What happened, as it shall stand in the record." placeholder:"TEXT"`
	Config string `required:"" help:"Configuration of the daemon, which must be stopped." placeholder:"FILE" type:"existingfile"`
}

// Help is the long help of the command.
func (ledgerLoss) Help() string {
	return `Only where database and journal were put back to an older state, or are damaged, and nothing newer can be brought back. An entry of
the ledger says what a signed checkpoint outside proves, what remains of it, and who accepts that; "witnessmark verify" names it as
a break from then on. The checkpoint stays in the data folder under the name checkpoint.lost-SIZE. Where somebody is administrator,
only an administrator may do this.`
}

// Run records the loss and says what it is.
func (c *ledgerLoss) Run(ctx context.Context, s shop, all *commands) error {
	if s.remote.Server != "" {
		return inputError{errors.New("a loss is accepted on the machine of the daemon: leave out --server")}
	}
	o, err := atRest(c.Config, s, all)
	if err != nil {
		return err
	}
	e, err := daemon.AcceptLoss(ctx, o, c.Reason, c.By)
	if err != nil {
		return err
	}
	loss := e.Event.(audit.LossAccepted)
	_, err = fmt.Fprintf(s.out, "Entry %d: of the %d leaves that a signed checkpoint proves, %d remain. Start the daemon: it goes on from there.\nThe checkpoint stays in %s as evidence.\n",
		e.Seq, loss.Size, loss.Remains, daemon.Folder(o.Data).Lost(loss.Size))
	return err
}

type ledgerJournal struct {
	Config string `required:"" help:"Configuration of the daemon, which must be stopped." placeholder:"FILE" type:"existingfile"`
}

// Help is the long help of the command.
func (ledgerJournal) Help() string {
	return `For where the database is there and the journal beside it is gone or older. The record is verified first; a journal that is there keeps
lying beside the new one under another name. What only the lost journal held, readings of the last moment or of the time in which
the database was away, is not brought back.`
}

// Run writes the journal.
func (c *ledgerJournal) Run(ctx context.Context, s shop, all *commands) error {
	if s.remote.Server != "" {
		return inputError{errors.New("the journal is written on the machine of the daemon: leave out --server")}
	}
	o, err := atRest(c.Config, s, all)
	if err != nil {
		return err
	}
	n, err := daemon.RebuildJournal(ctx, o)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(s.out, "%s: %d entries, as the database has them. Start the daemon.\n", daemon.Folder(o.Data).Journal(), n)
	return err
}

type ledgerProof struct {
	records
	From int64 `arg:"" help:"Size of the last checkpoint that the witness signed; 0 if there is none."`
	To   int64 `arg:"" optional:"" help:"Size of the checkpoint to sign; the newest if left out."`
}

// Run prints the request in the form of C2SP tlog-witness.
func (c *ledgerProof) Run(ctx context.Context, s shop) (err error) {
	if c.From < 0 || c.To < 0 {
		return inputError{errors.New("a size is not below zero: give the number of leaves of a checkpoint")}
	}
	reader, closeAll, err := c.open(ctx, s)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, closeAll()) }()
	r, err := reader.Proof(ctx, c.From, c.To)
	if err != nil {
		return err
	}
	_, err = s.out.Write(r.Text())
	return err
}
