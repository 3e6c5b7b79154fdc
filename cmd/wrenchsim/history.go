package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/mattn/go-isatty"

	"witnessmark/cmd/wrenchsim/past"
	"witnessmark/store"
	"witnessmark/store/ledger"
)

// historyCommand fills a database with the years of a shop that has never been.
type historyCommand struct {
	Readings int    `default:"1000000" help:"How many readings; 20000000 are some six years of a busy shop."`
	Seed     uint64 `default:"1" help:"The same seed gives the same history."`
	Database string `required:"" help:"URL of the database." placeholder:"URL" env:"WITNESSMARK_DATABASE"`
	Shop     string `default:"made-up" help:"Id of the shop; it must have no records."`
	Data     string `help:"Folder for the signing key and the newest checkpoint, as verify wants it." placeholder:"DIR" type:"path"`
	Leaves   bool   `default:"true" negatable:"" help:"Write the ledger too. Without it, which is faster, the ledger stays empty and verify refuses the rows: for look-ups only."`
	Bench    int    `help:"Fill nothing: time the look-up of this many engines of the shop beside a plain SELECT of the same rows." placeholder:"N"`
	Cold     string `help:"With --bench: time each look-up once more after this command has emptied the caches, such as one that restarts the server and drops the system's pages." placeholder:"COMMAND"`
}

// Help is shown below the flags.
func (historyCommand) Help() string {
	return `Builds of three invented engine families on four benches: torques near their targets, a failure now and then, wrenches
calibrated every year. Nothing in it was ever pulled; keep it out of a database that people rely on.`
}

// Run draws the history and writes it.
func (c *historyCommand) Run(ctx context.Context, to streams) error {
	if c.Bench > 0 {
		return c.measure(ctx, to)
	}
	if c.Readings < 1 {
		return inputError{errors.New("give at least one reading")}
	}
	if c.Data == "" {
		if c.Leaves {
			return inputError{errors.New("name a folder with --data for the key that signs the ledger, or leave the ledger out with --no-leaves")}
		}
		dir, err := os.MkdirTemp("", "wrenchsim-")
		if err != nil {
			return err
		}
		defer os.RemoveAll(dir)
		c.Data = dir
	}
	key, err := ledger.LoadOrCreateKey(filepath.Join(c.Data, "keys", "signing"), store.Origin(c.Shop))
	if err != nil {
		return err
	}
	entries, err := past.Entries(c.Readings, c.Seed)
	if err != nil {
		return err
	}
	began := time.Now()
	bar := progressBar(to.notes, uint64(c.Readings))
	opt := store.Options{URL: c.Database, Shop: c.Shop, Key: key, Outside: filepath.Join(c.Data, "checkpoint"), Clock: time.Now}
	last := uint64(0)
	err = store.Fill(ctx, opt, c.Leaves, entries, func(seq uint64) { last = seq; bar(seq, time.Since(began)) })
	if err != nil {
		return err
	}
	took := time.Since(began)
	_, err = fmt.Fprintf(to.out, "%d readings, %d entries in %.0f s, %.0f entries a second\n", c.Readings, last, took.Seconds(), float64(last)/took.Seconds())
	return err
}

// progressBar draws a line that is written over at a terminal; elsewhere a line now and then. Entries are a few more than
// readings, so that the bar is full a little early.
func progressBar(w io.Writer, all uint64) func(done uint64, took time.Duration) {
	f, ok := w.(*os.File)
	live := ok && isatty.IsTerminal(f.Fd())
	told := uint64(0)
	return func(done uint64, took time.Duration) {
		tenth := min(done, all) * 40 / all
		if !live && tenth == told {
			return
		}
		told = tenth
		line := fmt.Sprintf("[%s%s] %3d %%  %d entries, %s", strings.Repeat("#", int(tenth)), strings.Repeat(".", int(40-tenth)), min(done, all)*100/all, done, took.Round(time.Second))
		if live {
			fmt.Fprintf(w, "\r%s", line)
			return
		}
		fmt.Fprintln(w, line)
	}
}
