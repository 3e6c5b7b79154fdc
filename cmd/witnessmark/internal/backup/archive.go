package backup

import (
	"archive/zip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"filippo.io/age"

	"witnessmark/store/cluster"
	"witnessmark/store/journal"
)

// Archive is an open backup.
type Archive struct {
	Manifest
	Entries uint64 // in the journal; known after Check

	file  *os.File
	parts map[string]*zip.File
}

// Open opens a backup and reads its manifest. Nothing of it may be used before Check.
func Open(path string, identities []age.Identity) (*Archive, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("open backup: %w", err)
	}
	a, err := read(f, identities)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("%s: %w", path, err), f.Close())
	}
	return a, nil
}

func read(f *os.File, identities []age.Identity) (*Archive, error) {
	content, size, err := unseal(f, identities)
	if err != nil {
		return nil, err
	}
	z, err := zip.NewReader(content, size)
	if err != nil {
		return nil, fmt.Errorf("the file is no backup, or damaged, or cut short: take another one: %w", err)
	}
	a := &Archive{file: f, parts: map[string]*zip.File{}}
	for _, part := range z.File {
		if a.parts[part.Name] != nil {
			return nil, fmt.Errorf("the backup holds %q twice, which none of ours does: take another one", part.Name)
		}
		a.parts[part.Name] = part
	}
	if err := a.readManifest(); err != nil {
		return nil, err
	}
	return a, a.complete()
}

func (a *Archive) readManifest() error {
	m := a.parts[partManifest]
	if m == nil {
		return errors.New("the file is no backup of this program: it has no manifest")
	}
	in, err := m.Open()
	if err != nil {
		return fmt.Errorf("read the manifest: %w", err)
	}
	text, err := io.ReadAll(io.LimitReader(in, maxManifest))
	if err = errors.Join(err, in.Close()); err != nil {
		return fmt.Errorf("read the manifest: %w", err)
	}
	if err := json.Unmarshal(text, &a.Manifest); err != nil {
		return fmt.Errorf("read the manifest: %w", err)
	}
	if a.Format != format {
		return fmt.Errorf("the backup has the format %q, this program reads %q: use the version that wrote it", a.Format, format)
	}
	return nil
}

// complete refuses a backup that lacks a part, or holds one that is not ours to put anywhere.
func (a *Archive) complete() error {
	listed := map[string]bool{partManifest: true}
	for _, p := range a.Parts {
		if a.parts[p.Name] == nil {
			return fmt.Errorf("the backup lacks its part %s: take another one", p.Name)
		}
		rest, folder := strings.CutPrefix(p.Name, partFolder)
		if folder && !(filepath.IsLocal(rest) && filepath.ToSlash(filepath.Clean(rest)) == rest) ||
			!folder && p.Name != partDatabase && p.Name != partJournal && p.Name != partConfiguration {
			return fmt.Errorf("the backup holds a part %q that has no place in a data folder", p.Name)
		}
		listed[p.Name] = true
	}
	for name := range a.parts {
		if !listed[name] {
			return fmt.Errorf("the backup holds a part %q that its manifest does not list", name)
		}
	}
	if !listed[partDatabase] || !listed[partJournal] {
		return errors.New("the backup holds no database or no journal: take another one")
	}
	return nil
}

// Check reads the whole backup: every part must have the hash of the manifest, the journal must read entry by entry, and
// pg_restore must be able to list the dump.
func (a *Archive) Check(ctx context.Context, told Told) error {
	for _, p := range a.Parts {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := a.checkPart(p, told); err != nil {
			return fmt.Errorf("%s: %w", a.file.Name(), err)
		}
	}
	err := a.with(partJournal, func(in io.Reader) (err error) {
		a.Entries, err = journal.ReadCopy(in, func(uint64, []byte) error { return ctx.Err() })
		return err
	})
	if err != nil {
		return fmt.Errorf("%s: %w", a.file.Name(), err)
	}
	return a.with(partDatabase, func(in io.Reader) error {
		lines, err := cluster.List(ctx, in)
		if err == nil && len(lines) == 0 {
			err = errors.New("the dump of the database is empty")
		}
		return err
	})
}

func (a *Archive) checkPart(p Part, told Told) error {
	m := &measure{out: io.Discard, sum: sha256.New(), what: "check " + p.Name, told: told}
	err := a.with(p.Name, func(in io.Reader) error {
		_, err := io.Copy(m, in)
		return err
	})
	if err != nil {
		return fmt.Errorf("the part %s cannot be read, the file is damaged: take another backup: %w", p.Name, err)
	}
	if hex.EncodeToString(m.sum.Sum(nil)) != p.SHA256 || m.size != p.Size {
		return fmt.Errorf("the part %s is not what its manifest says, the file is damaged: take another backup", p.Name)
	}
	return nil
}

// with hands a part to use.
func (a *Archive) with(name string, use func(io.Reader) error) error {
	in, err := a.parts[name].Open()
	if err != nil {
		return err
	}
	return errors.Join(use(in), in.Close())
}

// Close closes the file.
func (a *Archive) Close() error { return a.file.Close() }
