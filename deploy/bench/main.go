// Command bench measures a built witnessmark on this computer: simulated wrenches on pseudo-terminals, its own private
// PostgreSQL, its own figures at /metrics. Beside each figure stands what limits it, or what another program makes of the
// same lines, measured in the same run. See run in this folder.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"
)

// options is what can be asked for.
type options struct {
	program  string
	python   string // has pyserial and psycopg2
	folder   string // data folder and limits lie in a new folder in it
	readings int    // that the record is filled to
	quick    bool
	only     string // the parts that are measured, by a word of their names; empty: all
	keep     bool
	record   string // a folder that keep has left, to go on with; empty: a new one
}

// long is how long something is measured: shorter in a quick run.
func (o options) long(d time.Duration) time.Duration {
	if o.quick {
		return max(d/10, time.Second)
	}
	return d
}

func main() {
	var o options
	flag.StringVar(&o.program, "program", "", "the witnessmark to measure")
	flag.StringVar(&o.python, "python", "", "python with pyserial and psycopg2; left out: that peer is not measured")
	flag.StringVar(&o.folder, "folder", os.TempDir(), "folder on the disk to measure on")
	flag.IntVar(&o.readings, "readings", 100_000, "readings that the record is filled to")
	flag.StringVar(&o.only, "only", "", "measure only the part whose name has this in it")
	flag.BoolVar(&o.keep, "keep", false, "leave the folder with the record there, and say where")
	flag.StringVar(&o.record, "record", "", "folder that an earlier run has left by --keep: let the record in it grow on")
	flag.BoolVar(&o.quick, "quick", false, "show that it works, and measure little")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	if err := run(ctx, o); err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		stop()
		os.Exit(1)
	}
}

func run(ctx context.Context, o options) (err error) {
	if o.quick && o.only == "" {
		o.readings = min(o.readings, 10_000)
	}
	dir := o.record
	if dir == "" {
		if dir, err = os.MkdirTemp(o.folder, "bench"); err != nil {
			return err
		}
	}
	if o.keep || o.record != "" {
		fmt.Fprintln(os.Stderr, "the record lies in", dir)
	} else {
		defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	}
	s, err := newShop(ctx, o, dir)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.close()) }()
	t := &table{}
	for _, part := range []struct {
		name    string
		measure func(context.Context, *shop, *table) error
	}{
		{"an empty record", empty}, {"waiting", waiting}, {"carrying", carrying}, {"peers", peers}, {"a day", day}, {"a filled record", filled},
	} {
		if !strings.Contains(part.name, o.only) {
			continue
		}
		fmt.Fprintf(os.Stderr, "%s  %s\n", time.Now().Format(time.TimeOnly), part.name)
		if err := part.measure(ctx, s, t); err != nil {
			return fmt.Errorf("%s: %w", part.name, err)
		}
	}
	return t.print(os.Stdout, s)
}
