package backup

import (
	"archive/zip"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"time"

	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/cmd/witnessmark/internal/daemon"
	"witnessmark/store/cluster"
)

// Source is what is backed up.
type Source struct {
	Shop          string
	Folder        daemon.Folder
	Configuration string // file; empty: none is taken along
	NoEvidence    bool   // what came from the wrenches is left out
	Tools         cluster.Tools
	Journal       func(context.Context, io.Writer) error // writes a copy of the journal
	Version       string                                 // of this program
	Now           time.Time
}

// Take writes a backup to path, where nothing may be, reads it back and checks it. It gets its name when it has stood the
// check: a crash before leaves path+".part", which may be thrown away and is replaced by the next one.
func Take(ctx context.Context, path string, s Source, seal Seal, told Told) (_ *Archive, err error) {
	if _, err := os.Lstat(path); err == nil {
		return nil, control.Malformed(path + " is there already: give the backup another name")
	}
	part := path + ".part"
	f, err := begun(part)
	if err != nil {
		return nil, err
	}
	letGo := sync.OnceValue(f.Close) // until then nobody else writes there
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(part))
		}
		err = errors.Join(err, letGo())
	}()
	err = write(ctx, f, s, seal, told)
	if err == nil {
		err = f.Sync()
	}
	if runtime.GOOS == "windows" { // where an open file can be neither renamed nor removed, and LockFile locks nothing
		err = errors.Join(err, letGo())
	}
	if err != nil {
		return nil, fmt.Errorf("write backup: %w", err)
	}
	a, err := checked(ctx, part, seal, told)
	if err != nil {
		return nil, fmt.Errorf("the backup was written and does not read back right, so it was thrown away; see to the disk: %w", err)
	}
	return a, place(part, path)
}

// begun opens the file that a backup is written to, empty and for this process alone. What an earlier one left there is replaced.
func begun(part string) (*os.File, error) {
	f, err := os.OpenFile(part, os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		return nil, control.Malformed(fmt.Sprintf("no backup can be written there: name another place with -o, or see to the folder: %v", err))
	}
	taken, err := daemon.LockFile(f)
	switch {
	case taken, err == nil && !same(f, part): // who had it has just given it its name
		err = control.Refuse(fmt.Sprintf("another backup is being written to %s: wait for it, or give this one another name", part))
	case err == nil:
		err = f.Truncate(0)
	}
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}

// same is true of the open file that a name stands for.
func same(f *os.File, name string) bool {
	here, err := f.Stat()
	if err != nil {
		return false
	}
	there, err := os.Lstat(name)
	return err == nil && os.SameFile(here, there)
}

// place gives the backup its name, which is never one that somebody else has taken meanwhile.
func place(part, path string) error {
	if err := os.Link(part, path); err != nil {
		if errors.Is(err, fs.ErrExist) {
			return fmt.Errorf("%s came up meanwhile: give the backup another name", path)
		}
		if err := os.Rename(part, path); err != nil { // a file system without links, such as a memory stick's
			return err
		}
	} else if err := os.Remove(part); err != nil {
		return err
	}
	d, err := os.Open(filepath.Dir(path))
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

func checked(ctx context.Context, path string, seal Seal, told Told) (*Archive, error) {
	a, err := Open(path, seal.check)
	if err != nil {
		return nil, err
	}
	if err := errors.Join(a.Check(ctx, told), a.Close()); err != nil {
		return nil, err
	}
	return a, nil
}

// write takes the parts in an order that makes them fit each other while the daemon works:
//
// the checkpoint kept outside before the database, because a checkpoint that is newer than the database says that an old
// one was put back; the database before the journal, because the writer goes on from the journal and brings in what the
// database lacks, whereas a database with entries that the journal has not would have them given out a second time; the
// keys after it, because a new key lies on the disk before the entry that says so; and the evidence last, so that it has the
// bytes of every reading in the journal that was not rotated away.
func write(ctx context.Context, f io.Writer, s Source, seal Seal, told Told) error {
	out, err := seal.over(f)
	if err != nil {
		return err
	}
	w := &writer{zip: zip.NewWriter(out), told: told}
	if s.Configuration != "" {
		if err := w.addFile(partConfiguration, s.Configuration); err != nil {
			return err
		}
	}
	if err := w.addKept(s.Folder, s.Folder.Outside()); err != nil {
		return err
	}
	// pg_dump has compressed it.
	if err := w.add(partDatabase, zip.Store, func(o io.Writer) error { return s.Tools.Dump(ctx, "witnessmark", o) }); err != nil {
		return err
	}
	if err := w.add(partJournal, zip.Deflate, func(o io.Writer) error { return s.Journal(ctx, o) }); err != nil {
		return err
	}
	kept, err := s.Folder.Kept()
	if err != nil {
		return err
	}
	for _, file := range kept {
		if err := w.addKept(s.Folder, file); err != nil {
			return err
		}
	}
	if !s.NoEvidence {
		if err := w.addEvidence(ctx, s.Folder); err != nil {
			return err
		}
	}
	if err := w.close(Manifest{Shop: s.Shop, Taken: s.Now, Version: s.Version}); err != nil {
		return err
	}
	return out.Close()
}

// addKept adds a file of the data folder, if it is there.
func (w *writer) addKept(f daemon.Folder, file string) error {
	name, err := filepath.Rel(string(f), file)
	if err != nil {
		return err
	}
	err = w.addFile(partFolder+filepath.ToSlash(name), file)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

// addEvidence adds every file of evidence. One that is rotated away meanwhile is not there any more, which is what would have
// become of it; one that is being written is taken as far as it is, so that its last line may be torn, as after a crash.
func (w *writer) addEvidence(ctx context.Context, f daemon.Folder) error {
	return filepath.WalkDir(f.Evidence(), func(file string, e fs.DirEntry, err error) error {
		if err == nil {
			err = ctx.Err()
		}
		if err == nil && e.Type().IsRegular() {
			err = w.addKept(f, file)
		}
		var unread *fs.PathError
		switch {
		case errors.Is(err, fs.ErrNotExist):
			return nil
		case errors.As(err, &unread) && unread.Path == file:
			return fmt.Errorf("read evidence (--without-evidence leaves all of it out): %w", err)
		}
		return err
	})
}

func (w *writer) addFile(name, file string) error {
	text, err := os.ReadFile(file)
	if err != nil {
		return err
	}
	return w.add(name, zip.Deflate, func(out io.Writer) error { _, err := out.Write(text); return err })
}
