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

// Run prints the version.
func (versionCommand) Run(s shop) error {
	_, err := fmt.Fprintf(s.out, "witnessmark %s (%s, %s/%s)\n", version(), runtime.Version(), runtime.GOOS, runtime.GOARCH)
	return err
}
