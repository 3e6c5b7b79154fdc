package doctor

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// witness looks whether the daemon can add checkpoints to the file that the configuration names for them; none: it names none.
func (b *Box) witness() []Finding {
	path := b.Config.Witness
	if path == "" {
		return nil
	}
	f := Finding{Check: "witness file", State: NotOK}
	dir := filepath.Dir(path)
	if f.Found, f.Do = b.unwritable(path); f.Found != "" {
		return []Finding{f}
	}
	switch {
	case b.readOnly(dir):
		f = frozen(f, dir)
	case b.confined(dir):
		f.Found = "the service may write nowhere but in its own folders (ProtectSystem=strict), and " + path + " lies in none of them"
		f.Do = fmt.Sprintf("systemctl edit witnessmark, write the lines [Service] and ReadWritePaths=-%s, then systemctl restart witnessmark", dir)
	default:
		f.State, f.Found = OK, "the daemon may add checkpoints to "+path
	}
	return []Finding{f}
}

// unwritable says by owner, group and mode why the user of the daemon cannot add to a file, and what to do; empty: that one can.
func (b *Box) unwritable(path string) (found, do string) {
	if at := b.User.barrier(path); at != "" {
		return fmt.Sprintf("user %s may not enter %s, in which %s lies", b.User.Name, at, path),
			fmt.Sprintf("let that user in (chmod o+x %s), or name another file as witness in the configuration", at)
	}
	s, err := stat(path)
	if err == nil && s.mode.IsDir() {
		return path + " is a folder", "name a file in it as witness in the configuration"
	}
	if err == nil && !b.User.may(s, read|write) {
		return fmt.Sprintf("user %s may not read and write %s", b.User.Name, path), fmt.Sprintf("chown %s %s", b.User.Name, path)
	}
	if err == nil {
		return "", ""
	}
	dir := filepath.Dir(path)
	switch s, above := stat(dir); {
	case !errors.Is(err, fs.ErrNotExist):
		return err.Error(), asRoot
	case above != nil:
		return fmt.Sprintf("the folder of %s is not there", path), fmt.Sprintf("mount its disk, or install -d -m 700 -o %s %s", b.User.Name, dir)
	case !b.User.may(s, write|enter):
		return fmt.Sprintf("user %s may not make %s", b.User.Name, path), fmt.Sprintf("install -m 644 -o %s /dev/null %s", b.User.Name, path)
	}
	return "", ""
}

// confined is true where the unit of the service, with what was added to it, lets its user write into no folder that holds dir.
func (b *Box) confined(dir string) bool {
	strict, user, open := false, "", []string{b.Data}
	for _, setting := range b.unit() {
		switch key, value, _ := strings.Cut(setting, "="); key {
		case "ProtectSystem":
			strict = value == "strict"
		case "User":
			user = value
		case "ReadWritePaths":
			for _, p := range strings.Fields(value) {
				open = append(open, strings.TrimLeft(p, "-+"))
			}
		}
	}
	return strict && user == b.User.Name && !slices.ContainsFunc(open, func(p string) bool { return holds(p, dir) })
}

// holds is true of a folder and what lies in it.
func holds(dir, path string) bool {
	rest, err := filepath.Rel(dir, path)
	return err == nil && rest != ".." && !strings.HasPrefix(rest, ".."+string(filepath.Separator))
}

// unit is the lines of the service's unit, and of the files that add to it, in the order in which they count.
func (b *Box) unit() (lines []string) {
	const name = "witnessmark.service"
	var files []string
	for _, file := range []string{name, filepath.Join(name+".d", "*.conf")} {
		for _, place := range []string{"lib", "usr/lib", "run", "etc"} {
			found, _ := filepath.Glob(b.in(place, "systemd/system", file))
			files = append(files, found...)
		}
	}
	for _, file := range files {
		text, _ := os.ReadFile(file) // one that cannot be read cannot be judged either
		for line := range strings.Lines(string(text)) {
			lines = append(lines, strings.TrimSpace(line))
		}
	}
	return lines
}
