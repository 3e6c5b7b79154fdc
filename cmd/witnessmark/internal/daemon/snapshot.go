package daemon

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"sync"
	"sync/atomic"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/whole"
	"witnessmark/device/memory"
)

// heading is the first line of a snapshot; the second is what the live follower remembers, the third its shop. A snapshot saves a
// start from working out the journal from its first entry; it proves nothing and is not missed where it is gone. It is read only
// in the form in which it was written, beside the journal that it was made of.
type heading struct {
	Form  string `json:"form"`  // SHA-256 of its form, in hex
	Seq   uint64 `json:"seq"`   // the last entry that all of it knows
	Last  uint64 `json:"last"`  // no entry after this one is known to any of it: of a wrench a reading may be remembered that came later
	Entry string `json:"entry"` // SHA-256 of that last one, in hex
	Shelf int64  `json:"shelf"` // bytes of the shelf that belong to it
	Body  string `json:"body"`  // SHA-256 of the other lines, in hex
}

// stood is what the live follower holds after an entry, beside its shop; the memories may hold later readings.
type stood struct {
	Leaves   int64
	Memories map[string]*memory.Memory
	Tried    []triedStep
}

// triedStep is a step that was pulled at, of a build that is not released.
type triedStep struct {
	Build                  uint64
	Joint, Stage, Fastener string
}

// snapshots makes them now and then, and at a stop.
type snapshots struct {
	d      *Daemon
	shelf  *shelf
	at     atomic.Uint64 // the last entry of the newest one, 0: there is none
	rotten atomic.Bool   // the shelf has lost something, and so has every snapshot that it belongs to
	taking sync.Mutex
}

// When they are made; more often in this package's tests.
var (
	snapshotEvery uint64 = 5_000 // entries
	snapshotAtEnd uint64 = 200   // entries that a start works out in a moment
	snapshotLook         = time.Minute
)

// snapshotForm is the form of what is put away here.
var snapshotForm = sync.OnceValue(func() string {
	sum := sha256.Sum256([]byte(bench.SnapshotForm(heading{}, stood{})))
	return hex.EncodeToString(sum[:])
})

// digest names an entry.
func digest(e audit.Entry) (string, error) {
	body, err := audit.Encode(e.Event)
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(fmt.Appendf(nil, "%d %d %s %s", e.Seq, e.At.UnixMicro(), e.Event.Kind(), body))
	return hex.EncodeToString(sum[:]), nil
}

// openSnapshot gives the live follower what it held at the newest snapshot, or nothing but an empty shelf.
func (d *Daemon) openSnapshot() error {
	s := &snapshots{d: d}
	d.snapshots = s
	head, body, err := s.read()
	if err == nil {
		err = s.check(head)
	}
	if err != nil {
		if !errors.Is(err, fs.ErrNotExist) {
			d.opt.Log.Info().Err(err).Msg("the snapshot is of no use; the journal is worked out from its first entry")
			_ = os.Remove(d.folder.Snapshot()) // the next one replaces it anyway
		}
		head, body = heading{}, nil
	}
	if s.shelf, err = openShelf(d.folder.Shelf(), head.Shelf, s.spoiled); err != nil {
		return fmt.Errorf("open the shelf of builds: %w", err)
	}
	d.later(func(context.Context) error { return s.shelf.file.Close() })
	if body == nil {
		d.live.shop = bench.NewShop(s.shelf)
		return nil
	}
	return s.stand(head, body)
}

// read takes the snapshot from its file, whole.
func (s *snapshots) read() (head heading, body []byte, err error) {
	text, err := os.ReadFile(s.d.folder.Snapshot())
	if err != nil {
		return head, nil, err
	}
	line, body, _ := bytes.Cut(text, []byte("\n"))
	if err := json.Unmarshal(line, &head); err != nil {
		return head, nil, fmt.Errorf("its first line: %w", err)
	}
	if sum := sha256.Sum256(body); hex.EncodeToString(sum[:]) != head.Body {
		return head, nil, errors.New("it is damaged")
	}
	return head, body, nil
}

// check refuses a snapshot of another program or another journal, and one that lacks its shelf.
func (s *snapshots) check(head heading) (err error) {
	if head.Form != snapshotForm() {
		return errors.New("a version of the program has made it that put other things away")
	}
	if head.Last > s.d.journal.Last() {
		return errors.New("it is newer than the journal")
	}
	entries, err := s.d.journal.Read(head.Last, 1)
	if err != nil {
		return err
	}
	if sum, err := digest(entries[0]); err != nil || sum != head.Entry {
		return errors.New("it is not of this journal")
	}
	lies, err := os.Stat(s.d.folder.Shelf())
	if err == nil && lies.Size() < head.Shelf {
		err = errors.New("what it has put away is gone")
	}
	return err
}

// stand puts the live follower where it stood.
func (s *snapshots) stand(head heading, body []byte) error {
	line, text, _ := bytes.Cut(body, []byte("\n"))
	var k stood
	if err := json.Unmarshal(line, &k); err != nil {
		return err
	}
	shop, err := bench.Restored(text, s.shelf)
	if err != nil {
		return err
	}
	s.at.Store(head.Seq)
	s.d.live.shop, s.d.live.grown = shop, k.Leaves
	for id, m := range k.Memories {
		s.d.memories[id] = m
	}
	for _, t := range k.Tried {
		s.d.metrics.floor.try(t.Build, spot{t.Joint, t.Stage, t.Fastener})
	}
	return nil
}

// spoiled ends the daemon: what was put away cannot be had again but from the journal, which the next start does.
func (s *snapshots) spoiled(err error) {
	s.rotten.Store(true)
	_ = os.Remove(s.d.folder.Snapshot())
	s.d.end(fmt.Errorf("builds that were put away cannot be read again; start again, which makes them anew from the journal, and have the disk looked at: %w", err))
}

// run takes a snapshot whenever much has come.
func (s *snapshots) run(ctx context.Context) {
	tick := time.NewTicker(snapshotLook)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			s.keep(ctx, snapshotEvery)
		case <-ctx.Done():
			return
		}
	}
}

// keep takes a snapshot if so many entries came since the newest one. It is put into its place when the database has its
// entries, as far as there is a writer yet: one that falls behind begins there too. A crash before that leaves the one before,
// and its part of the shelf.
func (s *snapshots) keep(ctx context.Context, many uint64) {
	s.taking.Lock()
	defer s.taking.Unlock()
	if s.d.live.seq() < s.at.Load()+many {
		return
	}
	began := time.Now()
	seq, parts, err := s.take()
	s.d.opt.Log.Debug().Uint64("entry", seq).Dur("took", time.Since(began)).Msg("snapshot")
	if err == nil {
		if w := s.d.writer; w != nil {
			if w.await(ctx, seq); w.reach().position < seq {
				return
			}
		}
		err = s.put(parts)
	}
	if err != nil {
		s.d.opt.Log.Warn().Err(err).Msg("no snapshot could be taken; the next start takes longer")
		return
	}
	s.at.Store(seq)
	s.d.slim()
}

// put puts a snapshot into its place, unless what it has on the shelf is lost.
func (s *snapshots) put(parts [][]byte) error {
	if s.rotten.Load() {
		return errShelf
	}
	err := whole.Keep(s.d.folder.Snapshot(), parts...)
	if s.rotten.Load() { // meanwhile
		_ = os.Remove(s.d.folder.Snapshot()) // spoiled may have done it
		err = errShelf
	}
	return err
}

// take makes the text of a snapshot, in parts, whose part of the shelf is on the disk then. What is remembered of the wrenches
// is most of it, and is written down while the live follower and the links go on: it may know readings that came later, and is
// not told of them again.
func (s *snapshots) take() (seq uint64, parts [][]byte, err error) {
	head, now := heading{Form: snapshotForm()}, stood{}
	var shop []byte
	s.d.live.look(func(at *bench.Shop) {
		head.Seq, head.Shelf, shop = at.Seq(), s.shelf.size(), at.Snapshot()
		now.Leaves, now.Tried = s.d.live.grown, s.d.metrics.floor.triedSteps()
		now.Memories = maps.Clone(s.d.memories)
	})
	line, err := json.Marshal(now)
	if err != nil {
		return 0, nil, err
	}
	head.Last = head.Seq
	for _, m := range now.Memories {
		head.Last = max(head.Last, m.Newest())
	}
	first, err := s.head(head, line, shop)
	return head.Seq, [][]byte{first, lineEnd, line, lineEnd, shop}, errors.Join(err, s.shelf.file.Sync())
}

var lineEnd = []byte("\n")

// head is the first line of a snapshot with two others.
func (s *snapshots) head(head heading, line, shop []byte) ([]byte, error) {
	entries, err := s.d.journal.Read(head.Last, 1)
	if err != nil {
		return nil, err
	}
	if head.Entry, err = digest(entries[0]); err != nil {
		return nil, err
	}
	sum := sha256.New()
	for _, part := range [][]byte{line, lineEnd, shop} {
		sum.Write(part) // never fails
	}
	head.Body = hex.EncodeToString(sum.Sum(nil))
	return json.Marshal(head)
}

// shopAt is a shop that stands at an entry or before it, for a writer that cannot have the live one.
func (s *snapshots) shopAt(seq uint64) *bench.Shop {
	head, body, err := s.read()
	if err != nil || head.Seq != s.at.Load() || head.Seq > seq {
		return bench.NewShop(nil)
	}
	_, text, _ := bytes.Cut(body, []byte("\n"))
	shop, err := bench.Restored(text, looked{s.shelf})
	if err != nil {
		return bench.NewShop(nil)
	}
	return shop
}
