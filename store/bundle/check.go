package bundle

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"witnessmark/store/ledger"
)

// Report is what Check found. Faults is empty where everything fits.
type Report struct {
	Manifest
	Checkpoint  ledger.Checkpoint
	Key         string // verifier's text of the key that the checkpoint was checked with
	Fingerprint string // of Key
	Trusted     bool   // Key was given, and not taken from the bundle itself
	ClockSet    int    // proved entries that the clock was set
	Faults      []string
}

// Check goes through a bundle with nothing but its bytes, and the public key of the shop where it is known (verifier's
// text, empty: the one in the bundle is believed). Each witness must have signed the checkpoint too. An error says that the
// file is no bundle at all.
func Check(r io.ReaderAt, size int64, key string, witnesses ...note.Verifier) (*Report, error) {
	a, err := open(r, size)
	if err != nil {
		return nil, err
	}
	m, err := a.manifest()
	if err != nil {
		return nil, fmt.Errorf("this is no bundle: %w", err)
	}
	c := &checker{archive: a, report: &Report{Manifest: m}, leaves: map[int64]leaf{}}
	if c.signature(key) {
		c.cosigned(witnesses)
		c.entries()
		c.earlier()
		c.references()
	}
	c.files()
	return c.report, nil
}

type checker struct {
	*archive
	report *Report
	leaves map[int64]leaf // by index; those that are proved
}

func (c *checker) fault(format string, args ...any) {
	c.report.Faults = append(c.report.Faults, fmt.Sprintf(format, args...))
}

// signature checks who signed; false: there is no checkpoint to go by.
func (c *checker) signature(trusted string) bool {
	signed, err := c.read(checkpointFile)
	if err != nil {
		c.fault("%v", err)
		return false
	}
	own, err := c.read(keyFile)
	if err != nil {
		c.fault("%v", err)
	}
	r := c.report
	r.Key, r.Trusted = trusted, trusted != ""
	if inside := strings.TrimSpace(string(own)); !r.Trusted {
		r.Key = inside
	} else if err == nil && inside != trusted {
		c.fault("the bundle says it was signed with the key %s, the key given is %s: it is the bundle of another shop, or of a time "+
			"when the shop had another key", printed(inside), printed(trusted))
	}
	r.Fingerprint = printed(r.Key)
	v, err := note.NewVerifier(r.Key)
	if err != nil {
		c.fault("the public key cannot be read: %v", err)
		return false
	}
	if r.Checkpoint, err = ledger.Open(signed, v); err != nil {
		c.fault("%s does not bear the signature of the key %s: %v", checkpointFile, r.Fingerprint, err)
		return false
	}
	return true
}

// cosigned checks the signatures of witnesses; that checkpoint.txt is there is known.
func (c *checker) cosigned(witnesses []note.Verifier) {
	signed, err := c.read(checkpointFile)
	for _, w := range witnesses {
		if err != nil || !ledger.SignedBy(signed, w) {
			c.fault("%s does not bear the signature of the witness %s", checkpointFile, w.Name())
		}
	}
}

// printed is the fingerprint of a key, or says that it has none.
func printed(key string) string {
	text, err := ledger.Fingerprint(key)
	if err != nil {
		return "(which cannot be read)"
	}
	return text
}

func (c *checker) entries() {
	for _, e := range c.report.Entries {
		if err := c.entry(e); err != nil {
			c.fault("%v", err)
		}
	}
	if len(c.report.Entries) == 0 {
		c.fault("it lists no entries")
	}
}

func (c *checker) entry(e Entry) error {
	b, err := c.read(e.File)
	if err != nil {
		return err
	}
	proof, err := hashes(e.Proof)
	if err != nil {
		return fmt.Errorf("%s: %w", e.File, err)
	}
	at := c.report.Checkpoint
	if err := tlog.CheckRecord(proof, at.Size, at.Root, e.Leaf, ledger.Hash(b)); err != nil {
		return fmt.Errorf("%s is not leaf %d of the ledger that was signed: the entry or its proof was changed", e.File, e.Leaf)
	}
	l, err := parse(b)
	if err != nil {
		return fmt.Errorf("%s: %w", e.File, err)
	}
	l.file = e.File
	c.leaves[e.Leaf] = l
	if l.text["kind"] == "clock set" {
		c.report.ClockSet++
	}
	return nil
}

// earlier checks that the ledger goes on from every state of it that an entry names.
func (c *checker) earlier() {
	proved := map[string]bool{}
	at := c.report.Checkpoint
	for _, p := range c.report.Earlier {
		proof, err := hashes(p.Proof)
		if err == nil && len(p.Root) == tlog.HashSize {
			err = tlog.CheckTree(proof, at.Size, at.Root, p.Size, tlog.Hash(p.Root))
		}
		if err != nil || len(p.Root) != tlog.HashSize {
			c.fault("the ledger that was signed does not go on from the one of %d leaves that an entry names", p.Size)
			continue
		}
		proved[state(fmt.Sprint(p.Size), tlog.Hash(p.Root).String())] = true
	}
	for _, i := range slices.Sorted(maps.Keys(c.leaves)) {
		l := c.leaves[i]
		if size, root := l.text["size"], l.text["root"]; root != "" && size != "0" && l.text["refused"] == "" && !proved[state(size, root)] {
			c.fault("%s names a ledger of %s leaves, and nothing proves that the one that was signed goes on from it", l.file, size)
		}
	}
}

func state(size, root string) string { return size + " " + root }

// files checks that what was added is undamaged, and that nothing lies in the zip file that is not listed.
func (c *checker) files() {
	for _, f := range c.report.Files {
		b, err := c.read(f.File)
		if err != nil {
			c.fault("%v", err)
			continue
		}
		if sum := sha256.Sum256(b); hex.EncodeToString(sum[:]) != f.SHA256 {
			c.fault("%s is not the file that was put into the bundle: its SHA-256 is another", f.File)
		}
	}
	if b, err := c.read(handFile); err != nil || !bytes.Equal(b, byHand) {
		c.fault("%s is not the page that this program writes: do not follow it", handFile)
	}
	for _, e := range c.report.Entries {
		c.used[e.File] = true
	}
	for _, name := range slices.Sorted(maps.Keys(c.archive.files)) {
		if !c.used[name] {
			c.fault("%s is in the zip file, but the manifest does not list it", name)
		}
	}
}
