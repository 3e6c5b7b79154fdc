//go:build !linux

package cluster

import "os/exec"

// become does nothing where one process cannot be tied to another's life: there the server may outlive a killed
// daemon, and the next start waits for it to end.
func become(*exec.Cmd, owner, bool) {}
