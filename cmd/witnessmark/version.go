package main

import (
	"fmt"
	"runtime"
	"runtime/debug"
)

// release is set by the linker for a released binary.
var release string

// version names this program: the release, else what the Go toolchain recorded about the source.
func version() string {
	if release != "" {
		return release
	}
	info, ok := debug.ReadBuildInfo()
	if !ok || info.Main.Version == "" {
		return "unknown"
	}
	return info.Main.Version
}

type versionCommand struct{}

// Run prints the version, what it was built from, and which formats it speaks.
func (versionCommand) Run(s shop) error {
	_, err := fmt.Fprintf(s.out, "witnessmark %s (%s, %s/%s)\n%s", version(), runtime.Version(), runtime.GOOS, runtime.GOARCH, origin())
	return err
}

// origin is the commit that the program was built from, as far as the toolchain noted it.
func origin() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return ""
	}
	noted := map[string]string{}
	for _, set := range info.Settings {
		noted[set.Key] = set.Value
	}
	if noted["vcs.revision"] == "" {
		return "built from a source tree without its history\n"
	}
	text := fmt.Sprintf("commit %s of %s", noted["vcs.revision"], noted["vcs.time"])
	if noted["vcs.modified"] == "true" {
		text += ", changed since"
	}
	return text + "\n"
}
