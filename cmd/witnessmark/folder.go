package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/cmd/witnessmark/internal/daemon"
	"witnessmark/cmd/witnessmark/internal/doctor"
)

// Where the package puts the configuration and the data of its service.
const (
	packageConfig = "/etc/witnessmark/shop.yaml"
	packageData   = "/var/lib/witnessmark"
)

// folder is the data folder: the one given, else this user's own if a shop is in it, else the installed one where there is one,
// else this user's own all the same.
func folder(given, installed string) string {
	if given != "" {
		return given
	}
	own := ownFolder()
	if at, err := os.Stat(installed); err == nil && at.IsDir() && !holdsShop(own) {
		return installed
	}
	return own
}

// ownFolder is the user's folder for state (XDG base directories).
func ownFolder() string {
	if state := os.Getenv("XDG_STATE_HOME"); filepath.IsAbs(state) {
		return filepath.Join(state, "witnessmark")
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return packageData
	}
	return filepath.Join(home, ".local", "state", "witnessmark")
}

// holdsShop is false too for a folder that this user may not look into.
func holdsShop(dir string) bool {
	f := daemon.Folder(dir)
	for _, file := range []string{f.Journal(), f.Key()} {
		if _, err := os.Stat(file); err == nil {
			return true
		}
	}
	return false
}

// ofService is true of the folder of the installed service, and of what lies in it.
func ofService(dir string) bool {
	return dir == packageData || strings.HasPrefix(dir, packageData+string(filepath.Separator))
}

// configured reads a configuration of the daemon and takes the data folder from it, where no flag names one.
func (s *shop) configured(file string, all *commands) (config.Config, error) {
	cfg, err := config.Load(file)
	if err != nil {
		return cfg, inputError{err}
	}
	if all.Data == "" && cfg.Data != "" {
		s.data = cfg.Data
	}
	return cfg, nil
}

// open is nil where this user may look into the data folder, or where there is none.
func (s shop) open() error {
	f, err := os.Open(s.data)
	switch {
	case err == nil:
		return f.Close()
	case errors.Is(err, fs.ErrPermission):
		who, err := doctor.Owner(s.data)
		if err != nil { // behind a closed door, or a user without a name
			return fmt.Errorf("this user may not look into the data folder %s: run this as the user of the daemon, for example as root with `runuser -u witnessmark -- witnessmark …`", s.data)
		}
		return belongs(s.data, who)
	}
	return nil
}

// ours refuses a data folder whose daemon is another user's, to root too: that daemon could not write what is written here.
func (s shop) ours() error {
	for _, at := range []string{filepath.Dir(s.folder().Key()), s.data} {
		who, err := doctor.Owner(at)
		if err != nil || runtime.GOOS != "linux" { // elsewhere no owner is known
			continue
		}
		if int(who.UID) != os.Geteuid() {
			return belongs(s.data, who)
		}
		return nil
	}
	return nil
}

func belongs(dir string, who doctor.Person) error {
	return fmt.Errorf("the data folder %s belongs to the user %s: run this as that user, for example as root with `runuser -u %[2]s -- witnessmark …`", dir, who.Name)
}
