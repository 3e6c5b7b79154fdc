package doctor

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"

	"witnessmark/cmd/witnessmark/internal/daemon"
)

// asRoot is what to do where this user may not look.
const asRoot = "run this as root, or as the user of the daemon"

// folder looks whether the daemon can work in its data folder, and whether it alone can.
func (b *Box) folder() Finding {
	f := Finding{Check: "data folder", State: NotOK}
	if at := b.User.barrier(b.Data); at != "" {
		f.Found = fmt.Sprintf("user %s may not enter %s, in which %s lies", b.User.Name, at, b.Data)
		f.Do = fmt.Sprintf("let that user in (chmod o+x %s), or choose another data folder", at)
		return f
	}
	s, err := stat(b.Data)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return b.missing(f)
	case err != nil:
		f.Found, f.Do = err.Error(), "see to the disk, or run this as root"
	case !s.mode.IsDir():
		f.Found, f.Do = b.Data+" is no folder", "choose another data folder with --data"
	case !b.User.may(s, read|write|enter):
		f.Found = fmt.Sprintf("user %s may not work in %s", b.User.Name, b.Data)
		f.Do = fmt.Sprintf("chown %s %s, or name the user of the daemon with --user", b.User.Name, b.Data)
	case s.mode.Perm()&0o077 != 0:
		f.Found = fmt.Sprintf("%s is open to others (mode %#o), and holds the signing key", b.Data, s.mode.Perm())
		f.Do = "chmod 700 " + b.Data
	case b.readOnly(b.Data):
		f = frozen(f, b.Data)
	default:
		f.State, f.Found = OK, fmt.Sprintf("%s belongs to the daemon alone", b.Data)
	}
	return f
}

// missing is for a data folder that the first start will make, or cannot.
func (b *Box) missing(f Finding) Finding {
	above := filepath.Dir(b.Data)
	s, err := stat(above)
	for errors.Is(err, fs.ErrNotExist) {
		above = filepath.Dir(above)
		s, err = stat(above)
	}
	if err != nil || !b.User.may(s, write|enter) {
		f.Found = fmt.Sprintf("%s is not there, and user %s may not make it in %s", b.Data, b.User.Name, above)
		f.Do = fmt.Sprintf("install -d -m 700 -o %s %s", b.User.Name, b.Data)
		return f
	}
	if b.readOnly(above) {
		return frozen(f, above)
	}
	f.State, f.Found = OK, b.Data+" is not there yet: the first start makes it"
	return f
}

// readOnly is false too where that cannot be known.
func (b *Box) readOnly(path string) bool {
	is, err := b.System.ReadOnly(path)
	return is && err == nil
}

// frozen is for a folder on a file system that takes no writes, as one does after an error of its disk.
func frozen(f Finding, at string) Finding {
	f.Found = "the file system of " + at + " is read-only"
	f.Do = "look in dmesg whether its disk fails and replace it then; else mount it again with rw"
	return f
}

// key looks whether anybody else could sign in the shop's name.
func (b *Box) key() Finding {
	path := daemon.Folder(b.Data).Key()
	f := Finding{Check: "signing key", State: OK}
	s, err := stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		f.Found = "not there yet: the first start makes it"
		if _, err := stat(path + ".pub"); err == nil {
			f.State, f.Found = NotOK, path+" is gone while its public half is there"
			f.Do = "put it back from a backup, unless it was taken away after witnessmark ledger rotate-key"
		}
	case err != nil:
		f.State, f.Found, f.Do = Look, err.Error(), asRoot
	case s.mode.Perm()&0o077 != 0:
		f.State, f.Found = NotOK, fmt.Sprintf("others can read %s (mode %#o) and sign in the shop's name", path, s.mode.Perm())
		f.Do = fmt.Sprintf("chmod 600 %s, and change the key with witnessmark ledger rotate-key if anybody may have read it", path)
	case !b.User.may(s, read):
		f.State, f.Found = NotOK, fmt.Sprintf("user %s may not read %s", b.User.Name, path)
		f.Do = fmt.Sprintf("chown %s %s", b.User.Name, path)
	default:
		f.Found = path + " can be read by the daemon alone"
	}
	return f
}

// Below tooLittle readings may soon be refused; below scarce the alerts of deploy/prometheus speak too.
const (
	tooLittle = 256 << 20
	scarce    = 2 << 30
	mebibyte  = 1 << 20
)

// space looks what is free on the disk of the data folder, or of the nearest folder above that there is.
func (b *Box) space() Finding {
	f := Finding{Check: "disk"}
	at := b.Data
	free, size, err := b.System.Space(at)
	for errors.Is(err, fs.ErrNotExist) && at != filepath.Dir(at) {
		at = filepath.Dir(at)
		free, size, err = b.System.Space(at)
	}
	if err != nil {
		f.State, f.Found, f.Do = Look, err.Error(), asRoot
		return f
	}
	f.State, f.Found = OK, fmt.Sprintf("%d of %d MiB are free in %s", free/mebibyte, size/mebibyte, at)
	if free < scarce || free < size/10 {
		f.State, f.Do = Look, "make room, or move the data folder to a larger disk"
	}
	if free < tooLittle {
		f.State, f.Do = NotOK, "make room before readings are refused: old logs, backups and package caches first"
	}
	return f
}
