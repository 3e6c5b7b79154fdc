package daemon

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"os"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/note"

	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/cmd/witnessmark/internal/web"
	"witnessmark/device/label"
	"witnessmark/store"
	"witnessmark/store/ledger"
)

// reachWithin is how long a page waits for the database.
const reachWithin = 3 * time.Second

// Read implements web.Shop.
func (d *Daemon) Read(ctx context.Context, f func(*store.Reader) error) (err error) {
	within, cancel := context.WithTimeout(ctx, reachWithin)
	defer cancel()
	r, err := d.openReader(within)
	if err != nil {
		d.opt.Log.Warn().Err(err).Msg("the record cannot be read for a page")
		return errRecordAway
	}
	defer func() { err = errors.Join(err, r.Close()) }()
	if err := f(r); err == nil || !r.Gone() || ctx.Err() != nil {
		return err
	}
	return errRecordAway
}

var errRecordAway = &control.Error{Status: http.StatusServiceUnavailable,
	Sentence: "the database is away, so the record cannot be read now; readings are kept on this machine meanwhile: try again in a moment"}

func (d *Daemon) openReader(ctx context.Context) (*store.Reader, error) {
	url, err := d.base.address(ctx)
	if err != nil {
		return nil, err
	}
	return store.OpenReader(ctx, url, d.opt.Config.Shop.ID)
}

// LedgerKey implements web.Shop.
func (d *Daemon) LedgerKey() (string, error) {
	key, err := os.ReadFile(d.folder.Key() + ".pub")
	if err != nil {
		return "", fmt.Errorf("read the public key of the ledger: %w", err)
	}
	return strings.TrimSpace(string(key)), nil
}

// Labelled implements web.Shop.
func (d *Daemon) Labelled(text string) (string, string) {
	for _, s := range d.opt.Config.Scanners {
		l, err := s.Labels.Read(text)
		if err == nil && (l.Kind == label.Engine || l.Kind == label.WorkOrder) {
			return l.Value, l.Note
		}
	}
	return text, ""
}

// Ledger implements web.Shop.
func (d *Daemon) Ledger() (web.Ledger, error) {
	at := d.writer.reach()
	l := web.Ledger{Known: at.known, Leaves: at.ledger, Signed: at.signed, Size: at.checkpoint.Size, Root: at.checkpoint.Root.String(), Check: d.selfCheck.check()}
	outside, err := ledger.ReadOutside(d.folder.Outside())
	if err != nil {
		return l, err
	}
	l.Note = string(outside)
	d.live.look(func(s *bench.Shop) { l.Key = s.SigningKey() })
	if l.Key == "" {
		if l.Key, err = d.LedgerKey(); err != nil {
			return l, err
		}
	}
	if l.Fingerprint, err = ledger.Fingerprint(l.Key); err != nil {
		return l, err
	}
	if file := d.opt.Config.Witness; file != "" {
		w, err := witnessed(file)
		if err != nil {
			return l, err
		}
		l.Witness = &w
	}
	return l, nil
}

// witnessed tells what lies in the file on another disk: how many checkpoints, how far they go, and who signed.
func witnessed(file string) (web.Witness, error) {
	w := web.Witness{File: file}
	notes, torn, err := ledger.ReadNotes(file)
	if err != nil {
		return w, err
	}
	w.Notes, w.Torn = len(notes), len(torn)
	signed := map[string]int64{}
	for _, n := range notes {
		at, names := signers(n.Note)
		w.Size = max(w.Size, at.Size)
		for _, name := range names {
			if _, ok := signed[name]; !ok {
				w.Signers = append(w.Signers, web.Signer{Name: name})
			}
			signed[name] = max(signed[name], at.Size)
		}
	}
	for i := range w.Signers {
		w.Signers[i].Size = signed[w.Signers[i].Name]
	}
	return w, nil
}

// signers are the names that stand under a checkpoint. Nobody has checked their signatures.
func signers(signed []byte) (at ledger.Checkpoint, names []string) {
	var all *note.UnverifiedNoteError
	if _, err := note.Open(signed, note.VerifierList()); !errors.As(err, &all) {
		return at, nil
	}
	at, err := ledger.ParseCheckpoint(all.Note.Text)
	if err != nil {
		return at, nil
	}
	for _, s := range all.Note.UnverifiedSigs {
		names = append(names, s.Name)
	}
	return at, names
}
