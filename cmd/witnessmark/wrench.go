package main

import (
	"context"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"witnessmark/cmd/witnessmark/internal/control"
)

type wrenchCommand struct {
	Status   wrenchStatus   `cmd:"" help:"Show which wrenches are connected, when each was last heard of, and its calibration."`
	Ports    wrenchPorts    `cmd:"" help:"List the serial ports, what is plugged in, and the names to find it by. Opens nothing."`
	Listen   wrenchListen   `cmd:"" help:"Show what comes at a port, byte by byte, and record it."`
	Which    wrenchWhich    `cmd:"" help:"Name the wrench that is pulled next."`
	Try      wrenchTry      `cmd:"" help:"Show, frame by frame, what a profile makes of a capture or a port."`
	Suggest  wrenchSuggest  `cmd:"" help:"Propose a profile from a capture and what the display showed."`
	Found    wrenchFound    `cmd:"" help:"Record how a wrench was found at a calibration."`
	Affected wrenchAffected `cmd:"" help:"List what a wrench has touched while it was in doubt, and which verdicts would turn."`
}

type wrenchStatus struct{}

// Run lists the wrenches; exit code 1 says that one is not connected or is out of calibration.
func (wrenchStatus) Run(ctx context.Context, s shop) error {
	client := s.client()
	defer client.Close()
	list, err := client.Wrenches(ctx)
	if err != nil {
		return err
	}
	return wrenches(s, list, time.Now())
}

func wrenches(s shop, list []control.Wrench, now time.Time) error {
	var attention error
	t := tabwriter.NewWriter(s.out, 2, 0, 2, ' ', 0)
	fmt.Fprintln(t, "WRENCH\tBENCH\tSTATE\tLAST HEARD\tCALIBRATION\tLOST AND DOUBLED\tPORT")
	for _, w := range list {
		state, well := stateOf(w, now)
		due, valid := calibrationOf(w, now)
		if !well || !valid {
			attention = errAttention
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", w.ID, w.Bench, state, heardOf(w, now), due, countsOf(w), portOf(w))
	}
	if err := t.Flush(); err != nil {
		return err
	}
	if err := reasons(s, list); err != nil {
		return err
	}
	return attention
}

// reasons says below the table why wrenches are no better: whole sentences would push its columns apart.
func reasons(s shop, list []control.Wrench) error {
	for _, w := range list {
		var said string
		if w.Reason != "" {
			said += fmt.Sprintf("\n%s is %s: %s\n", w.ID, w.State, w.Reason)
		}
		if w.Uncalibrated != "" {
			said += fmt.Sprintf("\n%s is out of calibration: %s\n", w.ID, w.Uncalibrated)
		}
		if _, err := io.WriteString(s.out, said); err != nil {
			return err
		}
	}
	return nil
}

// stateOf says how the wrench fares, and for how long.
func stateOf(w control.Wrench, now time.Time) (text string, well bool) {
	text = fmt.Sprintf("%s for %s", w.State, now.Sub(w.Since).Round(time.Second))
	if w.State == "fresh" {
		return text, true
	}
	return strings.ToUpper(w.State) + text[len(w.State):], false
}

func heardOf(w control.Wrench, now time.Time) string {
	if w.LastSeen == nil {
		return "not since the start"
	}
	return now.Sub(*w.LastSeen).Round(time.Second).String() + " ago"
}

// calibrationOf says what is left of the calibration: days or readings, whichever ends it first.
func calibrationOf(w control.Wrench, now time.Time) (text string, valid bool) {
	var left []string
	if w.Due != nil {
		left = append(left, fmt.Sprintf("to %s (%d days)", w.Due.Format(time.DateOnly), int(w.Due.Sub(now).Hours()/24)))
	}
	if w.Cycles > 0 {
		left = append(left, fmt.Sprintf("%d more readings", max(w.Cycles-w.Pulls, 0)))
	}
	switch {
	case w.Due != nil && now.After(*w.Due):
		return "OVER since " + w.Due.Format(time.DateOnly), false
	case w.Uncalibrated != "":
		return "OVER", false
	case left == nil:
		return "not said", true
	}
	return strings.Join(left, " or "), true
}

// countsOf says what was lost and what came twice.
func countsOf(w control.Wrench) string {
	var said []string
	say := func(n int64, what string) {
		if n > 0 {
			said = append(said, fmt.Sprintf("%d %s", n, what))
		}
	}
	say(int64(w.Resent), "sent again")
	say(w.Skipped, "never came")
	for _, reason := range slices.Sorted(maps.Keys(w.Refused)) {
		say(w.Refused[reason], "refused ("+reason+")")
	}
	say(w.Epoch, "times its counter began anew")
	if said == nil {
		return "-"
	}
	return strings.Join(said, ", ")
}

// portOf is where the wrench is, and by which rule it was found; while it was not, what it is looked for by.
func portOf(w control.Wrench) string {
	if w.Where != "" {
		return w.Where
	}
	return w.Port
}
