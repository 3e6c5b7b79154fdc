package journal

import (
	"context"
	"fmt"
	"slices"
	"time"

	bolt "go.etcd.io/bbolt"

	"witnessmark/audit"
)

// waiting is an Append that has not been answered.
type waiting struct {
	event audit.Event
	body  []byte // event as JSON
	entry audit.Entry
	err   error
	done  chan struct{}
}

// Append makes an event durable and returns its entry. Appends that come together share one sync of the disk.
// The entry's event is read back from the durable bytes, so it is what Read will give.
// When ctx ends first the event may or may not be durable. With ErrNoRoom it is not. After any other error of the disk every
// Append returns that error: nobody can say what a second sync would mean, the next start reads back what is there.
func (j *Journal) Append(ctx context.Context, ev audit.Event) (audit.Entry, error) {
	body, err := audit.Encode(ev)
	if err != nil {
		return audit.Entry{}, fmt.Errorf("encode %s: %w", ev.Kind(), err)
	}
	if ev, err = audit.Decode(ev.Kind(), body); err != nil {
		return audit.Entry{}, fmt.Errorf("journal an event that could not be read again: %w", err)
	}
	w := &waiting{event: ev, body: body, done: make(chan struct{})}
	select {
	case j.in <- w:
	case <-j.ended:
		return audit.Entry{}, j.why()
	case <-ctx.Done():
		return audit.Entry{}, ctx.Err()
	}
	select {
	case <-w.done:
		return w.entry, w.err
	case <-ctx.Done():
		return audit.Entry{}, ctx.Err()
	}
}

func (j *Journal) why() error {
	if err := j.Err(); err != nil {
		return err
	}
	return ErrClosed
}

// write is the one goroutine that writes.
func (j *Journal) write() {
	defer close(j.ended)
	var again <-chan time.Time // however much comes meanwhile
	for {
		if j.Short() == nil {
			again = nil
		} else if again == nil {
			again = time.After(stockEvery)
		}
		select {
		case <-j.quit:
			return
		case first := <-j.in:
			if !j.put(j.gather(first)) {
				return
			}
		case <-again:
			again = nil
			if !j.put(nil) { // whether the disk takes anything shows when something is written
				return
			}
		}
	}
}

// put makes a batch durable and answers it. false: nothing can be written any more.
func (j *Journal) put(batch []*waiting) bool {
	err := j.timed(func() error { return j.commit(batch) })
	why := noRoom(err)
	switch {
	case err == nil:
		j.grow(batch)
		if s := j.Short(); s == nil || s.Refusing || len(batch) == 0 { // else write asks, now and then
			j.stock()
		}
	case why != nil:
		j.refuse(why, err, batch)
	default:
		j.fail(fmt.Errorf("write journal %s: %w", j.path, err), batch)
		return false
	}
	return true
}

// timed runs what may wait for the disk, see Busy.
func (j *Journal) timed(f func() error) error {
	began := time.Now()
	j.began.Store(&began)
	defer j.began.Store(nil)
	return guard(f)
}

// gather takes whoever else is waiting right now.
func (j *Journal) gather(first *waiting) []*waiting {
	batch := []*waiting{first}
	for len(batch) < maxBatch {
		select {
		case w := <-j.in:
			batch = append(batch, w)
		default:
			return batch
		}
	}
	return batch
}

// commit writes a batch in one transaction. A crash before bbolt's own sync of its meta page leaves the journal as it
// was: nobody in the batch was answered, the wrenches send again. A crash after it leaves the whole batch, and the
// wrenches' second sending is known by its counter.
func (j *Journal) commit(batch []*waiting) error {
	seq := j.Last()
	return j.db.Update(func(tx *bolt.Tx) error {
		b := tx.Bucket(entries)
		b.FillPercent = 0.95 // keys only grow
		for i, w := range batch {
			at := j.clock().UTC().Truncate(time.Microsecond)
			w.entry = audit.Entry{Seq: seq + uint64(i) + 1, At: at, Event: w.event}
			if err := b.Put(keyOf(w.entry.Seq), value(at, w.event.Kind(), w.body)); err != nil {
				return err
			}
		}
		return tx.Bucket(about).Put(newest, keyOf(seq+uint64(len(batch))))
	})
}

func (j *Journal) grow(batch []*waiting) {
	j.mu.Lock()
	j.last += uint64(len(batch))
	for _, w := range batch {
		j.tail = append(j.tail, w.entry)
	}
	if n := len(j.tail) - mostTail; n > 0 {
		j.tail = slices.Delete(j.tail, 0, n)
	}
	close(j.grown)
	j.grown = make(chan struct{})
	j.mu.Unlock()
	for _, w := range batch {
		close(w.done)
	}
}

func (j *Journal) fail(err error, batch []*waiting) {
	j.mu.Lock()
	j.err = err
	j.mu.Unlock()
	close(j.failed)
	answer(batch, err)
}

// answer tells a batch that it is not in the journal.
func answer(batch []*waiting, err error) {
	for _, w := range batch {
		w.entry, w.err = audit.Entry{}, err
		close(w.done)
	}
}
