package doctor

import (
	"fmt"
	"os"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
)

// Person is a user of this computer.
type Person struct {
	Name   string
	UID    uint32
	Groups []uint32
}

// Somebody looks a user up by name; empty: whoever runs this program.
func Somebody(name string) (Person, error) {
	u, err := user.Current()
	if name != "" {
		u, err = user.Lookup(name)
	}
	if err != nil {
		return Person{}, fmt.Errorf("look up the user: %w", err)
	}
	return person(u)
}

// Owner is the user whose file or folder it is.
func Owner(path string) (Person, error) {
	s, err := stat(path)
	if err != nil {
		return Person{}, err
	}
	u, err := user.LookupId(strconv.FormatUint(uint64(s.uid), 10))
	if err != nil {
		return Person{}, fmt.Errorf("look up the owner of %s: %w", path, err)
	}
	return person(u)
}

func person(u *user.User) (Person, error) {
	p := Person{Name: u.Username}
	uid, err := strconv.ParseUint(u.Uid, 10, 32)
	if err != nil {
		return p, fmt.Errorf("user %s has the number %q: users are looked at on Linux only", u.Username, u.Uid)
	}
	p.UID = uint32(uid)
	ids, err := u.GroupIds()
	if err != nil {
		return p, fmt.Errorf("look up the groups of user %s: %w", u.Username, err)
	}
	for _, id := range ids {
		if n, err := strconv.ParseUint(id, 10, 32); err == nil {
			p.Groups = append(p.Groups, uint32(n))
		}
	}
	return p, nil
}

// status is what the rights to a file depend on.
type status struct {
	uid, gid uint32
	mode     os.FileMode
}

// The rights to a file.
const (
	read  = 4
	write = 2
	enter = 1
)

// may says whether a person has all the wanted rights to a file, as far as owner, group and mode tell.
func (p Person) may(s status, wanted os.FileMode) bool {
	bits := s.mode.Perm()
	switch {
	case p.UID == 0:
		return true
	case p.UID == s.uid:
		bits >>= 6
	case slices.Contains(p.Groups, s.gid):
		bits >>= 3
	}
	return bits&wanted == wanted
}

// barrier is the first folder above path that the person may not enter; empty: none.
func (p Person) barrier(path string) string {
	var above []string
	for dir := filepath.Dir(path); ; dir = filepath.Dir(dir) {
		above = append(above, dir)
		if dir == filepath.Dir(dir) {
			break
		}
	}
	slices.Reverse(above)
	for _, dir := range above {
		if s, err := stat(dir); err == nil && !p.may(s, enter) {
			return dir
		}
	}
	return ""
}
