package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"text/tabwriter"

	"witnessmark/audit/procedure"
	"witnessmark/cmd/witnessmark/internal/control"
)

type procedureCommand struct {
	Show  procedureShow  `cmd:"" help:"Draw the joints with the order of tightening as numbers. Needs no daemon."`
	Check procedureCheck `cmd:"" help:"Check procedure files and name all their faults. Needs no daemon."`
	Add   procedureAdd   `cmd:"" help:"Add a procedure file to the shop. A revision never changes afterwards."`
	List  procedureList  `cmd:"" help:"List the procedures of the shop."`
}

type procedureCheck struct {
	Files []string `arg:"" help:"Procedure files." type:"existingfile" name:"file"`
}

// Run checks the files, names the faults of all of them, and says what the good ones hold.
func (c *procedureCheck) Run(s shop) error {
	var faults []error
	for _, file := range c.Files {
		text, err := os.ReadFile(file)
		if err != nil {
			faults = append(faults, err)
			continue
		}
		p, err := procedure.Parse(file, text)
		if err != nil {
			faults = append(faults, err)
			continue
		}
		if err := outline(s.out, file, p); err != nil {
			return err
		}
	}
	if len(faults) > 0 {
		return inputError{errors.Join(faults...)}
	}
	return nil
}

// outline says what a good file holds.
func outline(w io.Writer, file string, p *procedure.Procedure) error {
	fmt.Fprintf(w, "%s: good: %s revision %s, %s\n", file, p.Family, p.Revision, p.Title)
	t := tabwriter.NewWriter(w, 2, 0, 2, ' ', 0)
	fmt.Fprintln(t, "  JOINT\tCLASS\tFASTENERS\tSTAGES\tCHECKS\tSTEPS")
	for i := range p.Joints {
		j := &p.Joints[i]
		fmt.Fprintf(t, "  %s\t%s\t%d\t%d\t%d\t%d\n", j.ID, j.Criticality, len(j.Fasteners), len(j.Stages), len(j.Checks), len(j.Sequence()))
	}
	return t.Flush()
}

type procedureAdd struct {
	File string `arg:"" help:"Procedure file." type:"existingfile"`
}

// Run adds the file; adding the same file twice is no fault.
func (c *procedureAdd) Run(ctx context.Context, s shop) error {
	text, err := os.ReadFile(c.File)
	if err != nil {
		return inputError{err}
	}
	client := s.client()
	defer client.Close()
	p, err := client.AddProcedure(ctx, control.NewProcedure{File: c.File, Text: string(text)})
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(s.out, "the shop has %s revision %s, %s\n", p.Family, p.Revision, p.Title)
	return err
}

type procedureList struct{}

// Run lists the procedures.
func (procedureList) Run(ctx context.Context, s shop) error {
	client := s.client()
	defer client.Close()
	list, err := client.Procedures(ctx)
	if err != nil {
		return err
	}
	if len(list) == 0 {
		_, err := fmt.Fprintln(s.out, "The shop has no procedure yet: check a file with `witnessmark procedure check FILE`, then add it with `witnessmark procedure add FILE`.")
		return err
	}
	t := tabwriter.NewWriter(s.out, 2, 0, 2, ' ', 0)
	fmt.Fprintln(t, "FAMILY\tREVISION\tUSED\tTITLE")
	for _, p := range list {
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\n", p.Family, p.Revision, yesNo(p.Used), p.Title)
	}
	return t.Flush()
}

func yesNo(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}
