package main

import (
	"errors"
	"fmt"
	"os"
	"strings"
	"unicode"

	"golang.org/x/mod/sumdb/note"

	"witnessmark/store/ledger"
)

type witnessCommand struct {
	Key  witnessKey  `cmd:"" help:"Make the key of a witness."`
	Sign witnessSign `cmd:"" help:"Sign a checkpoint of a shop, after looking that its ledger goes on from the last one signed here."`
}

// Help is the long help of the command.
func (witnessCommand) Help() string {
	return `A witness is anybody outside the shop, such as the head office, who signs its checkpoints with a key of their own and remembers which.
Then not even the shop can change what it recorded before. The shop prints what to sign with "witnessmark ledger proof"; the
witness needs no database and no daemon, and gives the signed checkpoint back, for "witnessmark verify --witness".`
}

type witnessKey struct {
	New witnessKeyNew `cmd:"" help:"Make a new key. FILE is to be kept secret, FILE.pub is for whoever checks."`
}

type witnessKeyNew struct {
	File string `arg:"" help:"File of the key." placeholder:"FILE" type:"path"`
	Name string `required:"" help:"Name of the witness, without blanks, e.g. head-office.example." placeholder:"NAME"`
}

// Run makes the key.
func (c *witnessKeyNew) Run(s shop) error {
	if c.Name == "" || strings.ContainsFunc(c.Name, unicode.IsSpace) || strings.Contains(c.Name, "+") {
		return inputError{fmt.Errorf("the name %q cannot stand in a signature: leave out blanks and +", c.Name)}
	}
	if _, err := os.Stat(c.File); err == nil {
		return inputError{fmt.Errorf("%s is there already: give another name, the key in it may be needed", c.File)}
	}
	key, err := ledger.LoadOrCreateKey(c.File, c.Name)
	if err != nil {
		return err
	}
	return showKey(s, "The public key of "+c.Name+", in "+c.File+".pub:", key.Public)
}

type witnessSign struct {
	Key     string   `required:"" help:"Key file of the witness." placeholder:"FILE" type:"existingfile"`
	Log     string   `required:"" help:"Plain file in which the witness remembers what it signed; it is begun if missing." placeholder:"WITNESS.txt" type:"path"`
	Shop    []string `required:"" help:"Public key of the shop; may be given again where the shop has changed it." placeholder:"FILE" type:"existingfile"`
	Request []string `arg:"" help:"What the shop printed with witnessmark ledger proof, or a checkpoint alone." type:"existingfile"`
}

// Run signs each and prints it with all its signatures.
func (c *witnessSign) Run(s shop) error {
	key, err := witnessKeyOf(c.Key)
	if err != nil {
		return inputError{err}
	}
	shops, err := verifiers(c.Shop)
	if err != nil {
		return inputError{err}
	}
	w := ledger.Witness{Key: key, Log: c.Log}
	for _, file := range c.Request {
		text, err := os.ReadFile(file)
		if err != nil {
			return inputError{err}
		}
		r, err := ledger.ParseRequest(text)
		if err != nil {
			return inputError{fmt.Errorf("%s: %w", file, err)}
		}
		signed, err := w.Sign(r, shops...)
		if err != nil {
			return fmt.Errorf("%s: %w", file, err)
		}
		if _, err := s.out.Write(signed); err != nil {
			return err
		}
	}
	return nil
}

// witnessKeyOf reads a key that is there; its name is the one in its public half.
func witnessKeyOf(file string) (*ledger.Key, error) {
	v, err := ledger.ReadVerifier(file + ".pub")
	if err != nil {
		return nil, err
	}
	key, err := ledger.LoadOrCreateKey(file, v.Name())
	if err == nil && key.Signer == nil {
		err = errors.New("the private half of the key is not there")
	}
	return key, err
}

func verifiers(files []string) ([]note.Verifier, error) {
	var all []note.Verifier
	for _, file := range files {
		v, err := ledger.ReadVerifier(file)
		if err != nil {
			return nil, err
		}
		all = append(all, v)
	}
	return all, nil
}
