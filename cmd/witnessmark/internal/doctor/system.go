package doctor

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/device/port"
)

// in is a path of the computer under its root.
func (b *Box) in(path ...string) string {
	return filepath.Join(append([]string{"/", b.Root}, path...)...)
}

// portGroup is the group of the serial ports where none is plugged in, as Debian has it.
const portGroup = "dialout"

// group looks whether the user of the daemon is in the group that serial ports belong to.
func (b *Box) group() Finding {
	f := Finding{Check: "port group", State: OK}
	if b.User.UID == 0 {
		f.Found = "user root may open every port"
		return f
	}
	id, name, known := b.portGroup()
	switch {
	case !b.serialWanted():
		f.Found = "no wrench or scanner is at a serial port"
	case !known:
		f.State, f.Found = Look, "there is no group "+portGroup+" and no serial port"
		f.Do = "look which group serial ports have on this computer, and put the user " + b.User.Name + " into it"
	case !slices.Contains(b.User.Groups, id):
		f.State, f.Found = NotOK, fmt.Sprintf("user %s is not in the group %s, to which serial ports belong", b.User.Name, name)
		f.Do = fmt.Sprintf("usermod -aG %s %s, then start the daemon again", name, b.User.Name)
	default:
		f.Found = fmt.Sprintf("user %s is in the group %s", b.User.Name, name)
	}
	return f
}

// serialWanted is false where the configuration names wrenches and scanners, and all of them elsewhere.
func (b *Box) serialWanted() bool {
	local := func(spec string) bool { return !strings.Contains(spec, "://") }
	wrenches, scanners := b.Config.Wrenches, b.Config.Scanners
	return len(wrenches)+len(scanners) == 0 ||
		slices.ContainsFunc(wrenches, func(w config.Wrench) bool { return local(w.Port) }) ||
		slices.ContainsFunc(scanners, func(s config.Scanner) bool { return local(s.Port) })
}

// portGroup is the group of the first USB adapter, else the usual one.
func (b *Box) portGroup() (id uint32, name string, known bool) {
	plugs, _ := port.Plugs(b.Root) // without any the usual one will do
	for _, p := range plugs {
		if s, err := stat(p.Node); err == nil && p.USB() {
			return s.gid, b.groupName(s.gid), true
		}
	}
	for _, g := range b.groups() {
		if n, err := strconv.ParseUint(g.id, 10, 32); err == nil && g.name == portGroup {
			return uint32(n), portGroup, true
		}
	}
	return 0, "", false
}

func (b *Box) groupName(id uint32) string {
	for _, g := range b.groups() {
		if g.id == fmt.Sprint(id) {
			return g.name
		}
	}
	return fmt.Sprint(id)
}

type group struct{ name, id string }

// groups reads the computer's own list.
func (b *Box) groups() (all []group) {
	text, _ := os.ReadFile(b.in("etc", "group")) // without it numbers will do
	for line := range strings.Lines(string(text)) {
		if f := strings.Split(line, ":"); len(f) > 2 {
			all = append(all, group{f[0], f[2]})
		}
	}
	return all
}

// modemManager looks for the program that speaks to every new port, and for the rule that keeps it away.
func (b *Box) modemManager() Finding {
	f := Finding{Check: "ModemManager", State: OK, Found: "does not run"}
	names, _ := filepath.Glob(b.in("proc", "[0-9]*", "comm"))
	runs := slices.ContainsFunc(names, func(name string) bool {
		text, err := os.ReadFile(name)
		return err == nil && strings.TrimSpace(string(text)) == "ModemManager"
	})
	switch {
	case runs && b.keptAway():
		f.Found = "runs, and a udev rule keeps it away from serial adapters"
	case runs:
		f.State, f.Found = Look, "runs, and speaks to every adapter for some ten seconds after it was plugged in"
		f.Do = "apt-get remove modemmanager, or put 60-witnessmark.rules of the package into /etc/udev/rules.d and plug the adapters in again"
	}
	return f
}

// keptAway looks for a rule with which ModemManager leaves a port alone.
func (b *Box) keptAway() bool {
	for _, dir := range []string{"etc", "run", "usr/lib", "lib"} {
		files, _ := filepath.Glob(b.in(dir, "udev", "rules.d", "*witnessmark*.rules"))
		for _, file := range files {
			if text, err := os.ReadFile(file); err == nil && strings.Contains(string(text), `ENV{ID_MM_DEVICE_IGNORE}="1"`) {
				return true
			}
		}
	}
	return false
}

// clock looks whether the clock is kept right.
func (b *Box) clock(ctx context.Context) Finding {
	f := Finding{Check: "clock", State: OK, Found: "is kept right by a time service"}
	good, err := b.System.Synchronised(ctx)
	switch {
	case err != nil:
		f.State, f.Found, f.Do = Look, err.Error(), "look whether a time service runs"
	case !good:
		f.State, f.Found = Look, "is not synchronised: the order of readings holds, but their times may be wrong"
		f.Do = "let a time service run, for example apt-get install chrony"
	}
	return f
}

// kernel looks for kernels that are known to damage the journal.
func (b *Box) kernel() Finding {
	f := Finding{Check: "kernel", State: OK}
	release, err := b.System.Kernel()
	if err != nil {
		f.State, f.Found, f.Do = Look, err.Error(), "compare your kernel with README.md of go.etcd.io/bbolt"
		return f
	}
	f.Found = release + " is not known to be bad"
	if !losesFastCommits(release) {
		return f
	}
	on, err := b.fileSystemOfData()
	if err == nil && on != "ext4" {
		f.Found = release + " loses fast commits of ext4, but the data folder lies on another file system"
		return f
	}
	f.State, f.Found = Look, release+" may damage files on ext4 with fast commits in a power cut"
	f.Do = "install a newer kernel, or see by dumpe2fs -h that the disk has no fast_commit"
	return f
}

// fileSystemOfData is that of the data folder, or of the nearest folder above that there is.
func (b *Box) fileSystemOfData() (string, error) {
	at := b.Data
	for {
		name, err := b.System.FileSystem(at)
		if err == nil || at == filepath.Dir(at) {
			return name, err
		}
		at = filepath.Dir(at)
	}
}

// losesFastCommits knows the kernels that the makers of the journal's library warn of (README.md of go.etcd.io/bbolt v1.5.0,
// known issues): from 5.10, mended in 5.10.94, 5.15.27 and 5.17.
func losesFastCommits(release string) bool {
	var major, minor, patch int
	if n, _ := fmt.Sscanf(release, "%d.%d.%d", &major, &minor, &patch); n < 2 || major != 5 {
		return false
	}
	switch minor {
	case 10:
		return patch < 94
	case 11, 12, 13, 14, 16:
		return true
	case 15:
		return patch < 27
	}
	return false
}
