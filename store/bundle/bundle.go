// Package bundle is the part of the ledger that belongs to one build, in a zip file that proves itself:
//
//	by-hand.txt                 how to check it with published tools
//	checkpoint.txt              the signed checkpoint (C2SP signed-note, tlog-checkpoint)
//	entries/000000000012.json   leaf 12 of the ledger, byte for byte (RFC 8785)
//	files/…                     what was added for people, such as the build sheet
//	key.pub                     the public key of the checkpoint, as a verifier's text
//	manifest.json               a Manifest: what is where, the inclusion proofs (RFC 6962), the hashes of files/
//
// The names stand in this order, the files are stored without compression and all bear one time: the same content gives the
// same bytes.
package bundle

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"path"
	"slices"
	"time"

	"golang.org/x/mod/sumdb/tlog"
)

// Format is the first word of every manifest of this kind.
const Format = "witnessmark/bundle/1"

// Names in the zip file.
const (
	handFile       = "by-hand.txt"
	checkpointFile = "checkpoint.txt"
	keyFile        = "key.pub"
	manifestFile   = "manifest.json"
	filesFolder    = "files/"
)

//go:embed by-hand.txt
var byHand []byte

// Content is what a bundle is made of.
type Content struct {
	Build     uint64
	Engine    string
	WorkOrder string
	Key       string // verifier's text of the key that signed the checkpoint
	Note      []byte // the signed checkpoint that everything is proved against
	Leaves    []Leaf // in the order of the ledger
	Earlier   []Earlier
	Extra     []Extra // for people; shown to be undamaged, not proved by the ledger
}

// Leaf is an entry, or a mark, as it stands in the ledger, with its inclusion proof.
type Leaf struct {
	Index int64
	Bytes []byte
	Proof []tlog.Hash
}

// Earlier is a state of the ledger that an entry names, with the consistency proof from there to the checkpoint.
type Earlier struct {
	Size  int64
	Root  tlog.Hash
	Proof []tlog.Hash
}

// Extra is a further file. Name is without folders.
type Extra struct {
	Name string
	Data []byte
}

// Manifest is the form of manifest.json. Hashes of the tree are base64, as JSON has it for bytes; those of files are hex,
// as sha256sum writes them.
type Manifest struct {
	Format    string  `json:"format"`
	Build     uint64  `json:"build"`
	Engine    string  `json:"engine"`
	WorkOrder string  `json:"work_order"`
	Entries   []Entry `json:"entries"`
	Earlier   []Point `json:"earlier"`
	Files     []File  `json:"files"`
}

// Entry says where a leaf is, which one it is, counted from 0, and how it is proved: the audit path, the nearest first.
type Entry struct {
	File  string   `json:"file"`
	Leaf  int64    `json:"leaf"`
	Proof [][]byte `json:"proof"`
}

// Point is an Earlier.
type Point struct {
	Size  int64    `json:"size"`
	Root  []byte   `json:"root"`
	Proof [][]byte `json:"proof"`
}

// File is an Extra.
type File struct {
	File   string `json:"file"`
	SHA256 string `json:"sha256"`
}

// Write writes a bundle.
func Write(w io.Writer, c Content) error {
	files := map[string][]byte{handFile: byHand, checkpointFile: c.Note, keyFile: []byte(c.Key + "\n")}
	m := Manifest{Format: Format, Build: c.Build, Engine: c.Engine, WorkOrder: c.WorkOrder,
		Entries: []Entry{}, Earlier: []Point{}, Files: []File{}}
	for _, l := range c.Leaves {
		name := fmt.Sprintf("entries/%012d.json", l.Index)
		files[name] = l.Bytes
		m.Entries = append(m.Entries, Entry{name, l.Index, plain(l.Proof)})
	}
	for _, e := range c.Earlier {
		m.Earlier = append(m.Earlier, Point{e.Size, e.Root[:], plain(e.Proof)})
	}
	for _, x := range c.Extra {
		name := filesFolder + x.Name
		if _, taken := files[name]; taken || x.Name != path.Base(x.Name) || !valid(name) {
			return fmt.Errorf("cannot add a file %q: give it a plain name of its own", x.Name)
		}
		sum := sha256.Sum256(x.Data)
		files[name] = x.Data
		m.Files = append(m.Files, File{name, hex.EncodeToString(sum[:])})
	}
	text, err := json.MarshalIndent(m, "", " ")
	if err != nil {
		return fmt.Errorf("write manifest: %w", err)
	}
	files[manifestFile] = append(text, '\n')
	return pack(w, files)
}

// noTime is the earliest time that the zip form knows.
var noTime = time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)

func pack(w io.Writer, files map[string][]byte) error {
	z := zip.NewWriter(w)
	for _, name := range slices.Sorted(maps.Keys(files)) {
		f, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Store, Modified: noTime})
		if err == nil {
			_, err = io.Copy(f, bytes.NewReader(files[name]))
		}
		if err != nil {
			return fmt.Errorf("write %s: %w", name, err)
		}
	}
	if err := z.Close(); err != nil {
		return fmt.Errorf("write the end of the bundle: %w", err)
	}
	return nil
}

func plain(proof []tlog.Hash) [][]byte {
	out := make([][]byte, len(proof))
	for i := range proof {
		out[i] = proof[i][:]
	}
	return out
}

func hashes(proof [][]byte) ([]tlog.Hash, error) {
	out := make([]tlog.Hash, len(proof))
	for i, b := range proof {
		if len(b) != tlog.HashSize {
			return nil, fmt.Errorf("a hash of the proof has %d bytes, not %d", len(b), tlog.HashSize)
		}
		out[i] = tlog.Hash(b)
	}
	return out, nil
}
