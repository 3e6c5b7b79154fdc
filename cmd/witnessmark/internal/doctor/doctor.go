// Package doctor looks at the computer that a daemon runs on, or is to run on: what is missing there, what will go wrong,
// and what to do. It changes nothing and opens no serial port, so it may look while the daemon works.
package doctor

import (
	"context"
	"net"
	"time"

	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/cmd/witnessmark/internal/daemon"
	"witnessmark/store/cluster"
)

// State is how a check came out.
type State string

// The states. Look is for what works now and may not for long, or cannot be known here.
const (
	OK    State = "ok"
	Look  State = "look"
	NotOK State = "not ok"
)

// Finding is the outcome of one check.
type Finding struct {
	Check string `json:"check"`
	State State  `json:"state"`
	Found string `json:"found"`
	Do    string `json:"do,omitempty"` // empty: nothing needs to be done
}

// Box is what is looked at.
type Box struct {
	Config config.Config
	Data   string // the data folder
	User   Person // who the daemon runs as
	Root   string // of /proc, /sys, /dev, /etc and /lib; empty: the computer's own
	Clock  func() time.Time
	System System
}

// System is what only the kernel of this computer can tell. Of is the real one.
type System struct {
	// Kernel is its version, by the numbering of its makers.
	Kernel func() (string, error)
	// Synchronised tells whether something keeps the clock right.
	Synchronised func(context.Context) (bool, error)
	// FileSystem is the kind of file system that a path lies on, e.g. ext4; empty where it is none that matters.
	FileSystem func(path string) (string, error)
	// Space is the bytes that are free and that there are where a path lies.
	Space func(path string) (free, size uint64, err error)
	// ReadOnly tells whether the file system that a path lies on takes no writes.
	ReadOnly func(path string) (bool, error)
	// Server finds the programs of PostgreSQL for the folder of a private database.
	Server func(folder string) (cluster.Binaries, error)
}

// Of is the computer that this program runs on.
func Of() System {
	return System{Kernel: kernel, Synchronised: daemon.Synchronised, FileSystem: fileSystem, Space: daemon.Space, ReadOnly: readOnly,
		Server: cluster.FindFor}
}

// Examine makes all checks, in an order in which one would put things right.
func Examine(ctx context.Context, b Box) []Finding {
	found := []Finding{b.postgres(ctx), b.folder(), b.key(), b.space()}
	found = append(found, b.witness()...)
	found = append(found, b.ports(ctx)...)
	return append(found, b.group(), b.modemManager(), b.clock(ctx), b.kernel(), b.certificate())
}

// Healthy is false where a finding is not ok.
func Healthy(found []Finding) bool {
	for _, f := range found {
		if f.State == NotOK {
			return false
		}
	}
	return true
}

// runs says whether a daemon works in the data folder.
func (b *Box) runs() bool {
	conn, err := net.DialTimeout("unix", daemon.Folder(b.Data).Socket(), time.Second)
	if err != nil {
		return false
	}
	_ = conn.Close() // nothing was sent
	return true
}
