package ledger

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// WriteOutside keeps a signed checkpoint outside the database, so that an older database put in its place is noticed.
func WriteOutside(path string, signed []byte) error {
	if err := writeFile(path, signed, 0o644); err != nil {
		return fmt.Errorf("write checkpoint kept outside: %w", err)
	}
	return nil
}

// ReadOutside reads what WriteOutside wrote. There is nothing before the first one: nil without an error.
func ReadOutside(path string) ([]byte, error) {
	signed, err := os.ReadFile(path)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read checkpoint kept outside: %w", err)
	}
	return signed, nil
}

// writeFile puts content at path whole or not at all: a crash leaves the old file, or a stray file with the ending .new
// that the next write replaces.
func writeFile(path string, content []byte, mode os.FileMode) error {
	f, err := os.OpenFile(path+".new", os.O_CREATE|os.O_TRUNC|os.O_WRONLY, mode)
	if err != nil {
		return err
	}
	_, err = f.Write(content)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	if err := os.Rename(path+".new", path); err != nil {
		return err
	}
	d, err := os.Open(filepath.Dir(path))
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
