package daemon

import (
	"cmp"
	"context"
	"fmt"
	"iter"
	"slices"
	"time"

	"golang.org/x/mod/sumdb/note"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/store"
	"witnessmark/store/ledger"
)

// askWithin bounds how long a start waits for the database where an old state may have been put back.
const askWithin = 2 * time.Minute

// kept is a checkpoint outside the database, of this shop.
type kept struct {
	ledger.Checkpoint
	note  []byte
	where string
}

// meetKept refuses to work where a checkpoint outside proves more than database and journal hold together: an old state was put
// back, and what comes now would get the numbers of what was lost. Where the journal reaches far enough, the store takes what the
// database lacks from it and holds it against that checkpoint.
func (d *Daemon) meetKept(ctx context.Context) error {
	if err := d.setLossAside(); err != nil {
		return err
	}
	newest, outside := d.newestKept()
	if newest.Size > d.live.leaves() {
		// A version of this program that judged otherwise may have written more of the same entries: the database has the last word.
		end, err := d.reached(ctx)
		if err != nil && d.journal.CutBack() != "" {
			return nil // compare says what became of the journal
		}
		if err != nil {
			return fmt.Errorf("the checkpoint in %s proves %d leaves and the journal leads to fewer, so an old backup may have been put back; look at the database: %w",
				newest.where, newest.Size, err)
		}
		if newest.Size > end {
			return lost(newest, end)
		}
	}
	if newest.Size > outside {
		return ledger.WriteOutside(d.folder.Outside(), newest.note)
	}
	return nil
}

func lost(newest kept, end int64) error {
	return fmt.Errorf("%w: database and journal together end at leaf %d, the checkpoint in %s proves %d: an old backup was put back and %d leaves are lost. "+
		"Bring the newer journal or database back; if there is none, an administrator accepts the loss with witnessmark ledger accept-loss, and the record goes on from leaf %d",
		store.ErrOlder, end, newest.where, newest.Size, newest.Size-end, end)
}

// newestKept is the newest checkpoint of this shop in the data folder or on the other disk, behind those of what was lost, and
// the size of the one in the folder. What cannot be read or is not signed by the shop counts for nothing here: the store and
// verify say what is wrong with it.
func (d *Daemon) newestKept() (newest kept, outside int64) {
	keys := []note.Verifier{d.key.Verifier}
	later, err := d.key.Later()
	if err != nil {
		d.opt.Log.Error().Err(err).Msg("the later keys of the ledger cannot be read")
	}
	for _, k := range later {
		keys = append(keys, k.Verifier)
	}
	for _, file := range []string{d.folder.Outside(), d.opt.Config.Witness} {
		if file == "" {
			continue
		}
		notes, _, err := ledger.ReadNotes(file)
		if err != nil {
			d.opt.Log.Error().Err(err).Str("file", file).Msg("the checkpoints kept outside the database cannot be read")
		}
		for i, n := range slices.Backward(notes) {
			if d.accepted(n.Note) {
				notes = notes[i+1:]
				break
			}
		}
		if k := newestOf(file, notes, keys); k.Size > newest.Size {
			newest = k
		}
		if file == d.folder.Outside() {
			outside = newest.Size
		}
	}
	return newest, outside
}

// newestOf looks from the largest size on for a note with a signature of ours: there may be many, and a signature takes time.
func newestOf(file string, notes []ledger.Noted, keys []note.Verifier) kept {
	all := make([]kept, 0, len(notes))
	for _, n := range notes {
		if c, err := ledger.ParseCheckpoint(string(n.Note)); err == nil {
			all = append(all, kept{c, n.Note, file})
		}
	}
	slices.SortFunc(all, func(a, b kept) int { return cmp.Compare(b.Size, a.Size) })
	for _, k := range all {
		if _, err := ledger.Open(k.note, keys...); err == nil {
			return k
		}
	}
	return kept{}
}

// reached asks the database where it ends, and adds what the journal leads to from there.
func (d *Daemon) reached(ctx context.Context) (leaves int64, err error) {
	ctx, cancel := context.WithTimeout(ctx, askWithin)
	defer cancel()
	url, err := d.base.address(ctx)
	if err != nil {
		return 0, err
	}
	leaves, position, err := store.End(ctx, url, d.opt.Config.Shop.ID)
	if err != nil {
		return 0, err
	}
	if last := d.journal.Last(); position > last {
		return 0, &beyond{position, last}
	}
	for out, err := range d.replay(position) {
		if err != nil {
			return 0, err
		}
		leaves += store.LeavesOf(out)
	}
	return leaves, nil
}

// replay works the whole journal out anew and gives what is behind an entry.
func (d *Daemon) replay(after uint64) iter.Seq2[audit.Outcome, error] {
	return func(yield func(audit.Outcome, error) bool) {
		for shop := bench.NewShop(nil); shop.Seq() < d.journal.Last(); {
			entries, err := d.journal.Read(shop.Seq()+1, batch)
			if err != nil {
				yield(audit.Outcome{}, err)
				return
			}
			for _, e := range entries {
				if out := shop.Apply(e); e.Seq > after && !yield(out, nil) {
					return
				}
			}
		}
	}
}

// unproven is a database that lacks what the journal cannot bring in again.
type unproven struct {
	position uint64
	lacks    int64
	err      error
}

// bringAgain looks whether the journal leads to what an older database lacks before any of it is written. Its answer no is kept,
// as the writer asks again every few seconds.
func (d *Daemon) bringAgain(st *store.Store) error {
	n, last := st.Lacks(), d.unproven
	if n == 0 {
		return nil
	}
	if last.err != nil && last.position == st.Position() && last.lacks == n {
		return last.err
	}
	if err := st.Prove(d.replay(st.Position())); err != nil {
		d.unproven = unproven{st.Position(), n, err}
		return err
	}
	d.opt.Log.Warn().Int64("leaves", n).Uint64("position", st.Position()).Msg("an older database was put back; what it lacks is brought in again from the journal, which leads to the checkpoint outside")
	return nil
}
