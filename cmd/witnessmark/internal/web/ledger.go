package web

import (
	"bytes"
	"context"
	"net/http"
	"time"

	"witnessmark/audit"
	"witnessmark/store"
)

// Ledger is what is known of the ledger without reading it.
type Ledger struct {
	Known       bool      // the database was looked at since the daemon started
	Leaves      uint64    // in the database
	Size        int64     // leaves under the newest checkpoint
	Root        string    // of it
	Signed      time.Time // zero: not known
	Note        string    // the newest checkpoint, as it is kept outside the database; empty: none yet
	Key         string    // verifier's text of the key that signs now
	Fingerprint string
	Witness     *Witness // nil: no file for checkpoints is configured
	Check       Check
}

// Witness is the file on another disk that takes the checkpoints.
type Witness struct {
	File    string
	Notes   int   // checkpoints in it
	Torn    int   // lines that are none
	Size    int64 // leaves of the largest
	Signers []Signer
}

// Signer is a name that stands under checkpoints there. Its signatures are checked by `witnessmark verify --witness-key`.
type Signer struct {
	Name string
	Size int64 // leaves of the largest that it stands under
}

// Check is the check of the ledger that runs, or the last one.
type Check struct {
	Running   bool
	Done, All int64 // leaves; 0 of 0: it begins
	At        time.Time
	Last      string // what the last one found; empty: none since the daemon started
	Good      bool
}

// Percent is how much of it is done.
func (c Check) Percent() int64 {
	if c.All == 0 {
		return 0
	}
	return 100 * c.Done / c.All
}

// ledgerView is the page of the ledger.
type ledgerView struct {
	Ledger
	Away string
	May  bool // who looks may have it checked
}

func (p *Pages) ledgerPage(w http.ResponseWriter, r *http.Request) {
	l, err := p.Shop.Ledger()
	if err != nil {
		p.refused(w, r, err)
		return
	}
	me, v := p.who(r), ledgerView{Ledger: l}
	v.May = me.Can(audit.Lead) || me.Can(audit.Administrator)
	if v.Away, err = p.read(r, func(context.Context, *store.Reader) error { return nil }); err != nil {
		p.refused(w, r, err)
		return
	}
	p.show(w, r, http.StatusOK, "ledger", p.say(r, "menu.ledger"), v)
}

func (p *Pages) verify(w http.ResponseWriter, r *http.Request) {
	p.Shop.VerifyLedger()
	http.Redirect(w, r, "/ledger", http.StatusSeeOther)
}

// ledgerProgress sends how far the check is, as a part of the page, until it is done.
func (p *Pages) ledgerProgress(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Type", "text/event-stream")
	out := http.NewResponseController(w)
	for {
		l, err := p.Shop.Ledger()
		if err != nil || p.who(r).ID == "" {
			return
		}
		var b bytes.Buffer
		if err := p.words(r).templates.ExecuteTemplate(&b, "check", l.Check); err != nil {
			p.Log.Error().Err(err).Msg("the check of the ledger cannot be shown")
			return
		}
		if send(w, "", b.String()) != nil || out.Flush() != nil || !l.Check.Running {
			return
		}
		if pause(r.Context(), time.Second) != nil {
			return
		}
	}
}

func pause(ctx context.Context, d time.Duration) error {
	select {
	case <-time.After(d):
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
