package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"time"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/export"
	"witnessmark/cmd/witnessmark/internal/show"
	"witnessmark/cmd/witnessmark/internal/whole"
	"witnessmark/device/unit"
	"witnessmark/store"
)

type exportCommand struct {
	records
	Format     string `help:"csv or xlsx." enum:"csv,xlsx" default:"csv"`
	Out        string `short:"o" required:"" help:"File to write." placeholder:"FILE"`
	Unit       string `help:"Unit of torques: N·m or lbf·ft." default:"N·m" placeholder:"UNIT"`
	Force      bool   `help:"Write over a file that is there."`
	Engine     string `help:"Only of this engine." placeholder:"SERIAL"`
	Build      string `help:"Only of this build: work order or number." placeholder:"BUILD"`
	Joint      string `help:"Only of this joint." placeholder:"JOINT"`
	Fastener   string `help:"Only of this fastener." placeholder:"ID"`
	Wrench     string `help:"Only of this wrench." placeholder:"WRENCH"`
	Verdict    string `help:"Only with this verdict, e.g. \"low torque\"." placeholder:"VERDICT"`
	Flag       string `help:"Only with this flag, e.g. re-hit." placeholder:"FLAG"`
	From       string `help:"Only from this day or instant (UTC) on." placeholder:"DATE"`
	To         string `help:"Only up to the end of this day (UTC), or up to this instant." placeholder:"DATE"`
	Technician string `help:"Only of joints that this person started." placeholder:"NAME"`
}

// Help is the long help of the command.
func (exportCommand) Help() string {
	return `A line a reading with its mark in force. Units stand in the heads, and what the wrench itself wrote in columns of its own; times are UTC. A text that begins with = + - or @ gets
an apostrophe in front, so that no spreadsheet takes it for a formula; tabs and line ends are shown as symbols. An xlsx file goes on in another sheet after
1 048 575 readings.`
}

// Run writes the readings that the flags choose.
func (c *exportCommand) Run(ctx context.Context, s shop) (err error) {
	f, err := c.filter()
	if err != nil {
		return inputError{err}
	}
	in, err := unit.ParseTorqueUnit(c.Unit)
	if err != nil {
		return inputError{err}
	}
	reader, closeAll, err := c.open(ctx, s)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, closeAll()) }()
	rows := func(each func(*store.Line) error) error { return reader.Readings(ctx, f, each) }
	write := export.CSV
	if c.Format == "xlsx" {
		write = export.XLSX
	}
	n := int64(0)
	after, ended := counting(s.log)
	err = whole.Write(c.Out, c.Force, func(w io.Writer) (err error) {
		n, err = write(w, rows, in, after)
		return err
	})
	ended()
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(s.out, "%s written to %s\n", show.Count(int(n), "reading"), filepath.Base(c.Out))
	return err
}

func (c *exportCommand) filter() (f store.Filter, err error) {
	f = store.Filter{Engine: c.Engine, Build: c.Build, Joint: c.Joint, Fastener: c.Fastener, Wrench: c.Wrench,
		Verdict: audit.Verdict(c.Verdict), Flag: c.Flag, Technician: c.Technician}
	if err := sayable(f.Verdict, f.Flag); err != nil {
		return f, err
	}
	if f.From, err = instant(c.From, 0); err != nil {
		return f, err
	}
	if f.To, err = instant(c.To, 1); err != nil {
		return f, err
	}
	if !f.From.IsZero() && !f.To.IsZero() && !f.From.Before(f.To) {
		return f, fmt.Errorf("--from %s is not before --to %s", c.From, c.To)
	}
	return f, nil
}

func listed[T ~string](all []T) string {
	texts := make([]string, len(all))
	for i, a := range all {
		texts[i] = string(a)
	}
	return strings.Join(texts, ", ")
}

// instant reads an instant, or a day, of which it gives the beginning so many days later. Nothing is the zero time.
func instant(text string, days int) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	t, day, err := show.Date(text)
	if day {
		t = t.AddDate(0, 0, days)
	}
	return t, err
}

// counting tells a person at a terminal how many lines are written, now and then; nobody else is told.
func counting(w io.Writer) (after func(int64), ended func()) {
	if !terminal(w) {
		return func(int64) {}, func() {}
	}
	const often = 5_000
	told := false
	after = func(n int64) {
		if n%often == 0 {
			told = true
			fmt.Fprintf(w, "\r%d readings", n)
		}
	}
	return after, func() {
		if told {
			fmt.Fprintln(w)
		}
	}
}
