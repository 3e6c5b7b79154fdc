// Package whole writes files that are there whole or not at all.
package whole

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// Write makes a file of what fill writes. A file that is there is written over only by force. A crash leaves what was
// there before, and beside it a file that ends in .part, which may be thrown away.
func Write(path string, force bool, fill func(io.Writer) error) error {
	if err := free(path, force); err != nil {
		return err
	}
	part, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*.part")
	if err != nil {
		return fmt.Errorf("make %s: %w", path, err)
	}
	if err := finish(part, fill); err != nil {
		return errors.Join(err, os.Remove(part.Name()))
	}
	if err = free(path, force); err == nil { // it may have come up meanwhile
		err = os.Rename(part.Name(), path)
	}
	if err != nil {
		return errors.Join(err, os.Remove(part.Name()))
	}
	return nil
}

func free(path string, force bool) error {
	if _, err := os.Lstat(path); err == nil && !force {
		return fmt.Errorf("%s is there already: give another name, or --force to write over it", path)
	}
	return nil
}

// finish fills the file and takes it to the disk.
func finish(f *os.File, fill func(io.Writer) error) error {
	err := fill(f)
	if err == nil {
		err = f.Chmod(0o644)
	}
	if err == nil {
		err = f.Sync()
	}
	return errors.Join(err, f.Close())
}

// Keep puts text, given in parts, into a file that only its owner may read, on the disk when it returns. A crash leaves what
// was there before, or the new text, and maybe a file that ends in .new, which the next call replaces.
func Keep(path string, parts ...[]byte) error {
	f, err := os.OpenFile(path+".new", os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	for _, part := range parts {
		if err == nil {
			_, err = f.Write(part)
		}
	}
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	if err := os.Rename(path+".new", path); err != nil {
		return err
	}
	folder, err := os.Open(filepath.Dir(path))
	if err != nil {
		return err
	}
	return errors.Join(folder.Sync(), folder.Close())
}
