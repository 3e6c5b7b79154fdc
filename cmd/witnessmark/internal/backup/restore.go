package backup

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/cmd/witnessmark/internal/daemon"
	"witnessmark/store"
	"witnessmark/store/cluster"
	"witnessmark/store/journal"
)

// Restore makes a data folder, which must be missing or empty, of a backup that was checked. The database goes into a private
// one in the folder, or into the empty one that is named by its address.
//
// A crash in the middle leaves a folder with a file that says that it is unfinished, which serve refuses. A named database is
// then empty or whole: its dump is brought in by one transaction. Finish must be called when the outcome has been looked at.
func (a *Archive) Restore(ctx context.Context, f daemon.Folder, database string, told Told) (err error) {
	if err := vacant(f); err != nil {
		return err
	}
	if database != "" { // before anything is written
		if err := store.PrepareRestore(ctx, database); err != nil {
			return fmt.Errorf("restore database: %w", err)
		}
	}
	lock, err := begin(f)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, lock.Close()) }()
	for _, p := range a.Parts {
		name, is := strings.CutPrefix(p.Name, partFolder)
		if p.Name == partConfiguration {
			name, is = partConfiguration, true
		}
		if !is {
			continue
		}
		if err := a.with(p.Name, func(in io.Reader) error { return keep(filepath.Join(string(f), filepath.FromSlash(name)), in) }); err != nil {
			return fmt.Errorf("restore %s: %w", name, err)
		}
	}
	err = a.with(partJournal, func(in io.Reader) error {
		_, err := journal.Rebuild(f.Journal(), tell(in, "restore journal", told))
		return err
	})
	if err != nil {
		return fmt.Errorf("restore journal: %w", err)
	}
	err = a.with(partDatabase, func(in io.Reader) error { return fill(ctx, f, database, tell(in, "restore database", told)) })
	if err != nil {
		return fmt.Errorf("restore database: %w", err)
	}
	return nil
}

// vacant refuses a folder in which anything lies.
func vacant(f daemon.Folder) error {
	there, err := os.ReadDir(string(f))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return noFolder(f, err)
	}
	if err := f.Whole(); err != nil {
		return err
	}
	if len(there) > 0 {
		return control.Malformed(fmt.Sprintf("the folder %s is not empty: name another one with --data, nothing is written over", f))
	}
	return nil
}

// begin takes a vacant folder and marks it as unfinished before anything else is in it.
func begin(f daemon.Folder) (*os.File, error) {
	if err := os.MkdirAll(string(f), 0o700); err != nil {
		return nil, noFolder(f, err)
	}
	mark, err := os.OpenFile(f.Unfinished(), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return nil, fmt.Errorf("mark the data folder as unfinished: %w", err)
	}
	if err := errors.Join(mark.Sync(), mark.Close(), syncFolder(string(f))); err != nil {
		return nil, fmt.Errorf("mark the data folder as unfinished: %w", err)
	}
	return f.Lock()
}

func noFolder(f daemon.Folder, err error) error {
	return control.Malformed(fmt.Sprintf("nothing can be restored into %s: name another folder with --data, or see to this one: %v", f, err))
}

// Finish takes the mark away: from here on a daemon may work in the folder.
func Finish(f daemon.Folder) error {
	if err := os.Remove(f.Unfinished()); err != nil {
		return fmt.Errorf("finish the restore: %w", err)
	}
	return syncFolder(string(f))
}

func keep(path string, in io.Reader) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	mode := os.FileMode(0o600)
	if strings.HasSuffix(path, ".pub") {
		mode = 0o644
	}
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, mode)
	if err != nil {
		return err
	}
	_, err = io.Copy(f, in)
	return errors.Join(err, f.Sync(), f.Close(), syncFolder(filepath.Dir(path)))
}

func fill(ctx context.Context, f daemon.Folder, database string, dump io.Reader) error {
	if database != "" {
		tools, err := cluster.ToolsFor(database)
		if err != nil {
			return err
		}
		return pour(ctx, database, tools, dump)
	}
	c, err := cluster.Start(ctx, f.Postgres())
	if err != nil {
		return err
	}
	tools, err := c.Tools()
	if err == nil {
		err = pour(ctx, c.ConnString(), tools, dump)
	}
	return errors.Join(err, c.Stop(context.WithoutCancel(ctx)))
}

func pour(ctx context.Context, url string, tools cluster.Tools, dump io.Reader) error {
	if err := store.PrepareRestore(ctx, url); err != nil {
		return err
	}
	if err := tools.Restore(ctx, dump); err != nil {
		return err
	}
	return store.Migrate(ctx, url) // an older program may have taken the backup
}

func tell(in io.Reader, what string, told Told) io.Reader {
	if told == nil {
		return in
	}
	return &counted{in: in, what: what, told: told}
}

// counted tells how much was read.
type counted struct {
	in   io.Reader
	what string
	size int64
	told Told
}

func (c *counted) Read(p []byte) (int, error) {
	n, err := c.in.Read(p)
	c.size += int64(n)
	c.told(c.what, c.size)
	return n, err
}

func syncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
