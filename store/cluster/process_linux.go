package cluster

import (
	"os"
	"os/exec"
	"syscall"
)

// become makes a command run as another user, and end when we end: PostgreSQL takes SIGINT for a fast shutdown.
// The signal is sent when the starting thread dies, so the starter must stay locked to it.
func become(cmd *exec.Cmd, o owner, other bool) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGINT, Setpgid: true}
	if other {
		cmd.SysProcAttr.Credential = &syscall.Credential{Uid: uint32(o.uid), Gid: uint32(o.gid)}
	}
}

// ownerOf is whose file it is.
func ownerOf(f *os.File) (uid int, known bool) {
	info, err := f.Stat()
	if err != nil {
		return 0, false
	}
	st, known := info.Sys().(*syscall.Stat_t)
	if !known {
		return 0, false
	}
	return int(st.Uid), true
}
