// Package config reads the file that says what a shop consists of: its benches, its wrenches with their calibrations,
// and where things are kept. A file that is wrong is refused whole, all faults in one go with file:line:column.
package config

import (
	_ "embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"time"

	"witnessmark/audit"
	"witnessmark/device/finder"
	"witnessmark/device/profile"
	"witnessmark/device/strictyaml"
)

// Format is the first line of every file of this kind.
const Format = "witnessmark/config/1"

// Listen is the address of the public page and the metrics when the file names none.
const Listen = "127.0.0.1:7680"

// Private as Config.Database asks for a PostgreSQL of our own in the data folder.
const Private = "private"

//go:embed example.yaml
var example []byte

// Example returns a documented file that parses as it stands.
func Example() []byte { return append([]byte(nil), example...) }

// Config is what a file says.
type Config struct {
	Shop     Shop
	Data     string // folder of journal, keys and private database; empty: not said
	Database string // Private or a postgres:// URL
	Listen   string // host:port of the pages and the metrics
	// Certificate and Key are files for TLS; empty: none. PlainHTTP: the shop accepts that passwords can be read on its network.
	Certificate, Key string
	PlainHTTP        bool
	OIDC             OIDC
	Witness          string // plain file, best on another disk, that takes the checkpoints; empty: none
	Evidence         int64  // bytes that are kept of what came from each wrench; 0: not said
	Benches          []Bench
	Wrenches         []Wrench
	Scanners         []Scanner
	Retention        []Retention
}

// Shop names the workshop. ID begins every key in the database and never changes.
type Shop struct {
	ID   string
	Name string
}

// Bench is a place of work with its wrenches.
type Bench struct {
	ID       string
	Title    string
	Wrenches []string // ids, as listed
}

// Wrench is one wrench: where it is plugged in, how it speaks, and what was declared about it.
type Wrench struct {
	Port     string           // see Place; empty: it is looked for by Find
	Find     finder.Rule      // empty where Port is not
	Profile  *profile.Profile // never nil in a Config that was returned without error
	Declared audit.WrenchDeclared
	// Stale and Gone are how long its port may be silent until it counts as stale, and as gone; Idle is how long the
	// other end of a network connection may be dead. 0: the file does not say.
	Stale, Gone, Idle time.Duration
}

// BenchOf returns the bench that a wrench lies on; every wrench of a valid Config lies on exactly one.
func (c Config) BenchOf(wrench string) string {
	for _, b := range c.Benches {
		for _, id := range b.Wrenches {
			if id == wrench {
				return b.ID
			}
		}
	}
	return ""
}

// Load reads and checks a file. Relative paths in it count from the folder that it lies in.
func Load(path string) (Config, error) {
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrPermission) {
		return Config{}, fmt.Errorf("this user may not read the configuration %s: run this as the user of the daemon, for example as root with `runuser -u witnessmark -- witnessmark …`", path)
	}
	if err != nil {
		return Config{}, fmt.Errorf("read configuration: %w", err)
	}
	return Parse(path, text)
}

// Parse checks the text of a file named path. Profiles that it names as files are read too. The error is
// strictyaml.Faults when the text itself is wrong.
func Parse(path string, text []byte) (Config, error) {
	doc := strictyaml.Parse(path, text)
	r := reader{doc: doc, path: path}
	c := r.config(doc.Root())
	if err := doc.Err(); err != nil {
		return Config{}, err
	}
	return c, nil
}
