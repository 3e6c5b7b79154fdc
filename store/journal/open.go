package journal

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime/debug"
	"time"

	bolt "go.etcd.io/bbolt"
	bolterrors "go.etcd.io/bbolt/errors"
)

// lockWait is how long a second opener tries: no longer than bbolt takes for one more attempt.
const lockWait = 100 * time.Millisecond

// create makes the journal file where there is none.
//
// bbolt's own first writes can leave a file that it refuses later, so the file is made under another name and gets its
// own when it is whole and synced. A crash before that leaves the other name, which the next start throws away. A crash
// before the folder is synced leaves no journal: nothing was acknowledged yet.
func create(path string) error {
	fresh := path + ".new"
	if err := remove(fresh); err != nil {
		return err
	}
	if _, err := os.Stat(path); !errors.Is(err, os.ErrNotExist) {
		return err
	}
	if err := fill(fresh); err != nil {
		return errors.Join(err, remove(fresh))
	}
	// Unlike a renaming, a link never replaces the journal of somebody who was quicker.
	if err := os.Link(fresh, path); err != nil && !errors.Is(err, os.ErrExist) {
		return errors.Join(err, remove(fresh))
	}
	if err := remove(fresh); err != nil {
		return err
	}
	return syncFolder(filepath.Dir(path))
}

// fill makes an empty journal. bbolt has synced it when this returns.
func fill(path string) error {
	db, err := bolt.Open(path, 0o600, &bolt.Options{Timeout: lockWait})
	if err != nil {
		return err
	}
	err = db.Update(func(tx *bolt.Tx) error {
		if _, err := tx.CreateBucket(entries); err != nil {
			return err
		}
		a, err := tx.CreateBucket(about)
		if err != nil {
			return err
		}
		if err := a.Put(newest, keyOf(0)); err != nil {
			return err
		}
		return a.Put(format, []byte(formatVersion))
	})
	return errors.Join(err, db.Close())
}

func remove(path string) error {
	if err := os.Remove(path); !errors.Is(err, os.ErrNotExist) {
		return err
	}
	return nil
}

func syncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// open opens the file, which is there, and finds the last entry. Its pages are looked at before, through a mapping of their own:
// a page of a mapping that was looked at counts as memory of the process, and a journal is large.
func (j *Journal) open() error {
	err := j.openFor(true, j.lookThrough)
	if err == nil {
		err = j.db.Close()
	}
	if err != nil {
		return err
	}
	return j.openFor(false, func() error {
		if err := guard(j.recognise); err != nil {
			return err
		}
		return j.setAside()
	})
}

// openFor opens the file and does something with it. On an error it is closed again.
func (j *Journal) openFor(readOnly bool, do func() error) error {
	err := guard(func() error { return j.openFile(readOnly) })
	if errors.Is(err, bolterrors.ErrTimeout) {
		return fmt.Errorf("another process has %s open: stop the other daemon first", j.path)
	}
	if err == nil {
		if err = do(); err == nil {
			return nil
		}
	}
	err = fmt.Errorf("%s: %w", j.path, err)
	if j.db != nil && !errors.Is(err, errWrecked) {
		return errors.Join(err, j.db.Close())
	}
	if errors.Is(err, errWrecked) {
		return errors.Join(err, letGo(j.file))
	}
	return err
}

// letGo closes the file of a wrecked database, which bbolt may have left holding its own locks. The pages stay mapped,
// and a mapped file keeps its lock after it was closed.
func letGo(f *os.File) error {
	return errors.Join(unlock(f), f.Close())
}

func (j *Journal) openFile(readOnly bool) error {
	st, err := os.Stat(j.path)
	if err != nil {
		return err
	}
	if st.Size() == 0 {
		// bbolt would take it for a new one, and all that was in it would be forgotten.
		return errors.New("the file is empty, which a journal never is: " + anew)
	}
	keep := func(name string, flag int, mode os.FileMode) (f *os.File, err error) {
		j.file, err = os.OpenFile(name, flag, mode)
		return j.file, err
	}
	j.db, err = bolt.Open(j.path, 0o600, &bolt.Options{Timeout: lockWait, OpenFile: keep, ReadOnly: readOnly, PreLoadFreelist: true})
	if errors.Is(err, bolterrors.ErrInvalid) || errors.Is(err, bolterrors.ErrChecksum) || errors.Is(err, bolterrors.ErrVersionMismatch) {
		return fmt.Errorf("the file is damaged or no journal: %s: %w", anew, err)
	}
	return err
}

// lookThrough makes sure that all of a journal of our format is there.
func (j *Journal) lookThrough() error {
	return guard(func() error { return j.db.View(j.whole) })
}

func (j *Journal) whole(tx *bolt.Tx) error {
	a, e := tx.Bucket(about), tx.Bucket(entries)
	if a == nil || e == nil {
		return errors.New("the file is no journal: give the path of one")
	}
	if v := a.Get(format); string(v) != formatVersion {
		return fmt.Errorf("the journal has the format %q, this version reads %q: use the version that wrote it", v, formatVersion)
	}
	st, err := j.file.Stat()
	if err != nil {
		return err
	}
	if st.Size() < tx.Size() {
		return fmt.Errorf("the file is cut short, %d bytes of %d are there: %s", st.Size(), tx.Size(), anew)
	}
	return checkPages(tx)
}

// recognise finds the last entry.
func (j *Journal) recognise() error {
	return j.db.View(func(tx *bolt.Tx) (err error) {
		j.last, err = lastOf(tx.Bucket(about), tx.Bucket(entries))
		return err
	})
}

// checkPages goes from page to page. A page that names a wrong length of itself would make bbolt give away others'.
func checkPages(tx *bolt.Tx) error {
	end := int(tx.Size() / int64(tx.DB().Info().PageSize))
	id := 0
	for id < end {
		p, err := tx.Page(id)
		if err != nil {
			return err
		}
		id++
		if p.Type != "free" {
			id += p.OverflowCount
		}
	}
	if id != end {
		return fmt.Errorf("the last page ends at %d instead of %d: %w", id, end, errWrecked)
	}
	return nil
}

// lastOf is the number of the last entry. It is written down twice, because a rotten page of bbolt can look like one
// that holds less: the journal would seem to end early, and its last numbers would be given again.
func lastOf(about, entries *bolt.Bucket) (uint64, error) {
	last, err := seqOf(about.Get(newest))
	if err != nil {
		return 0, errWrecked
	}
	found := uint64(0)
	if k, _ := entries.Cursor().Last(); k != nil {
		if found, err = seqOf(k); err != nil {
			return 0, errWrecked
		}
	}
	if found != last {
		return 0, fmt.Errorf("the last entry should be %d and is %d: %w", last, found, errWrecked)
	}
	return last, nil
}

// errWrecked is a file that bbolt cannot find its way in.
var errWrecked = errors.New("the file is damaged: have the disk looked at; " + anew)

// anew is what to do about a journal that cannot be used. What the database has of it, nearly all, is not lost.
const anew = "keep it under another name, and let witnessmark ledger rebuild-journal write it anew from the database"

// guard runs f, and makes an error of the panic or the memory fault by which bbolt meets a damaged file: the pages of
// the file are mapped memory, and only its two head pages carry a checksum.
func guard(f func() error) (err error) {
	before := debug.SetPanicOnFault(true)
	defer debug.SetPanicOnFault(before)
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("%w (%v)", errWrecked, r)
		}
	}()
	return f()
}
