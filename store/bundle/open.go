package bundle

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
)

// Limits on what is taken from a file that anybody may have written.
const (
	maxFile  = 64 << 20 // bytes of one file in it
	maxTotal = 1 << 30  // bytes of all of them
)

// archive is the files of a bundle as they can be read.
type archive struct {
	files map[string]*zip.File
	used  map[string]bool
}

func open(r io.ReaderAt, size int64) (*archive, error) {
	z, err := zip.NewReader(r, size)
	if err != nil {
		return nil, fmt.Errorf("this is no whole zip file (%w): it was cut off or damaged on its way, fetch it again", err)
	}
	a := &archive{map[string]*zip.File{}, map[string]bool{}}
	var total uint64
	for _, f := range z.File {
		if total += f.UncompressedSize64; total > maxTotal || f.UncompressedSize64 > maxFile {
			return nil, fmt.Errorf("%s is too large for a bundle", f.Name)
		}
		if _, twice := a.files[f.Name]; twice || !valid(f.Name) {
			return nil, fmt.Errorf("the zip file holds %q twice or in a place outside: it was not written as a bundle", f.Name)
		}
		a.files[f.Name] = f
	}
	return a, nil
}

func valid(name string) bool { return fs.ValidPath(name) }

// read gives a file whole.
func (a *archive) read(name string) ([]byte, error) {
	a.used[name] = true
	f, ok := a.files[name]
	if !ok {
		return nil, fmt.Errorf("%s is missing", name)
	}
	r, err := f.Open()
	if err != nil {
		return nil, fmt.Errorf("%s cannot be read: %w", name, err)
	}
	b, err := io.ReadAll(io.LimitReader(r, maxFile))
	if err = errors.Join(err, r.Close()); err != nil {
		return nil, fmt.Errorf("%s is damaged: %w", name, err)
	}
	return b, nil
}

func (a *archive) manifest() (m Manifest, err error) {
	text, err := a.read(manifestFile)
	if err != nil {
		return m, err
	}
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&m); err != nil {
		return m, fmt.Errorf("%s cannot be read: %w", manifestFile, err)
	}
	if m.Format != Format {
		return m, fmt.Errorf("%s is of the form %q, this program knows %q: use a newer one", manifestFile, m.Format, Format)
	}
	return m, nil
}
