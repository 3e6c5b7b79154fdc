package main

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"text/tabwriter"

	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/cmd/witnessmark/internal/show"
)

type buildReview struct {
	Build  string `arg:"" help:"Work order of the build, or its number."`
	Format string `help:"text or json." enum:"text,json" default:"text"`
}

// Run shows what stands between a build and its release; exit code 1 says that something does.
func (c *buildReview) Run(ctx context.Context, s shop) error {
	return s.onBuild(ctx, c.Build, func(client *control.Client, build uint64) error {
		rv, err := client.Review(ctx, build)
		if err != nil {
			return err
		}
		if c.Format == "json" {
			out := json.NewEncoder(s.out)
			out.SetIndent("", "  ")
			err = out.Encode(rv)
		} else {
			err = showReview(s.out, rv)
		}
		if err == nil && len(rv.Blocking()) > 0 {
			return errAttention
		}
		return err
	})
}

func inTheWay(n int) string {
	switch n {
	case 0:
		return "nothing stands in the way of the release"
	case 1:
		return "1 finding stands in the way of the release"
	}
	return fmt.Sprintf("%d findings stand in the way of the release", n)
}

// showReview writes a review for a person to read.
func showReview(w io.Writer, rv bench.Review) error {
	fmt.Fprintf(w, "build %d: engine %s, work order %s: %s, reviewed up to entry %d\n", rv.Build, rv.Engine, rv.WorkOrder, rv.Standing, rv.Seq)
	if rv.Standing == bench.Released && len(rv.Blocking()) > 0 {
		fmt.Fprintln(w, cmp.Or(sign(rv), "found since it was released; the engine is perhaps not what was signed for:"))
	} else {
		fmt.Fprintf(w, "%s\n", inTheWay(len(rv.Blocking())))
	}
	t := tabwriter.NewWriter(w, 2, 0, 2, ' ', 0)
	last := ""
	for _, f := range rv.Findings {
		head := "to be known"
		switch {
		case f.Blocks && rv.Standing == bench.Released:
			head = "found since the release"
		case f.Blocks:
			head = "in the way"
		case f.Conceded != nil:
			head = "conceded"
		}
		if head != last {
			fmt.Fprintf(t, "\n%s:\n", head)
			last = head
		}
		fmt.Fprintf(t, "  %s\t%s\t%s\n", f.ID, f.Subject, f.Text)
		switch {
		case f.Conceded != nil:
			fmt.Fprintf(t, "  \t\t%s\n", granted(f.Conceded))
		case f.Settle != "":
			fmt.Fprintf(t, "  \t\t→ %s\n", f.Settle)
		}
	}
	if rv.Standing != bench.Released && len(rv.Blocking()) == 0 {
		fmt.Fprintf(t, "\nRelease it with: witnessmark build release %d --reviewed %d --by NAME\n", rv.Build, rv.Seq)
	}
	return t.Flush()
}

// sign says of a released build that a calibration has put readings of it in doubt; empty: none did.
func sign(rv bench.Review) string {
	n := 0
	for _, f := range rv.Blocking() {
		n += f.Readings
	}
	if n == 0 {
		return ""
	}
	return "released, but " + bench.InDoubt(n)
}

func granted(c *bench.Conceded) string {
	by := show.Name(c.By)
	if c.Seconded != "" {
		by += " and " + c.Seconded
	}
	return fmt.Sprintf("by %s: %s", by, c.Reason)
}
