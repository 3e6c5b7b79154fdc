// Package backup writes everything that a shop's record consists of into one file, reads it back, and makes a data folder of
// it again.
//
// A backup is a zip file, encrypted with age as a whole unless it was asked for plain:
//
//	database.dump       pg_dump --format=custom of the schema witnessmark
//	journal             see journal.ReadCopy
//	folder/…            files of the data folder: keys, the checkpoint kept outside the database, the set-up code, and, if
//	                    it was not left out, what came from the wrenches: folder/evidence/…
//	configuration.yaml  where one was named
//	manifest.json       Manifest, with the SHA-256 of every other part
//
// Without this program `age -d` and `unzip` open it.
package backup

import (
	"archive/zip"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"time"
)

// Names of the parts.
const (
	partDatabase      = "database.dump"
	partJournal       = "journal"
	partFolder        = "folder/"
	partConfiguration = "configuration.yaml"
	partManifest      = "manifest.json"
)

const format = "witnessmark/backup/1"

// maxManifest bounds the manifest in bytes: some 300 000 parts, which are mostly short files of evidence.
const maxManifest = 64 << 20

// Manifest says what a backup holds.
type Manifest struct {
	Format  string    `json:"format"`
	Shop    string    `json:"shop"`
	Taken   time.Time `json:"taken"`
	Version string    `json:"version"` // of the program
	Parts   []Part    `json:"parts"`
}

// Part is one file of a backup.
type Part struct {
	Name   string `json:"name"`
	Size   int64  `json:"size"` // bytes
	SHA256 string `json:"sha256"`
}

// Told is told how far things are: what is being done and how many bytes of it are; nil where nobody is to be told.
type Told func(what string, bytes int64)

// writer puts parts into a backup and notes what they are.
type writer struct {
	zip   *zip.Writer
	parts []Part
	told  Told
}

// add writes one part.
func (w *writer) add(name string, method uint16, fill func(io.Writer) error) error {
	out, err := w.zip.CreateHeader(&zip.FileHeader{Name: name, Method: method})
	if err != nil {
		return fmt.Errorf("write %s: %w", name, err)
	}
	m := &measure{out: out, sum: sha256.New(), what: name, told: w.told}
	if err := fill(m); err != nil {
		return fmt.Errorf("write %s: %w", name, err)
	}
	w.parts = append(w.parts, Part{name, m.size, hex.EncodeToString(m.sum.Sum(nil))})
	return nil
}

// close writes the manifest and ends the file.
func (w *writer) close(m Manifest) error {
	m.Format, m.Parts = format, w.parts
	out, err := w.zip.Create(partManifest)
	if err != nil {
		return fmt.Errorf("write %s: %w", partManifest, err)
	}
	e := json.NewEncoder(out)
	e.SetIndent("", "  ")
	return errors.Join(e.Encode(m), w.zip.Close())
}

// measure hashes and counts what passes through.
type measure struct {
	out  io.Writer
	sum  hash.Hash
	size int64
	what string
	told Told
}

func (m *measure) Write(p []byte) (int, error) {
	n, err := m.out.Write(p)
	_, _ = m.sum.Write(p[:n]) // a hash never fails
	m.size += int64(n)
	if m.told != nil {
		m.told(m.what, m.size)
	}
	return n, err
}
