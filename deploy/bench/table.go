package main

import (
	"fmt"
	"io"
	"runtime"
	"strconv"
	"text/tabwriter"
	"time"
)

// row is one figure of the table, and what stands beside it.
type row struct {
	what, figure, beside, ratio, aim string
}

type table []row

// add puts a figure into the table; aim may be empty.
func (t *table) add(what, figure, beside, ratio, aim string) {
	*t = append(*t, row{what, figure, beside, ratio, aim})
}

func (t *table) head(text string) { t.add("", "", "", "", ""); t.add(text, "", "", "", "") }

func (t *table) print(w io.Writer, s *shop) error {
	fmt.Fprintf(w, "%d processors, %s, file system of the disk: %s; the simulated wrenches and PostgreSQL share them with the program.\n"+
		"Load average when it began: %s. Other work on the computer spoils every figure.\n\n", runtime.NumCPU(), runtime.Version(), fileSystem(s.dir), s.load)
	out := tabwriter.NewWriter(w, 2, 0, 2, ' ', 0)
	fmt.Fprintln(out, "WHAT\tFIGURE\tBESIDE IT\tRATIO\tAIM")
	for _, r := range *t {
		fmt.Fprintf(out, "%s\t%s\t%s\t%s\t%s\n", r.what, r.figure, r.beside, r.ratio, r.aim)
	}
	return out.Flush()
}

func ms(d time.Duration) string { return strconv.FormatFloat(float64(d)/1e6, 'f', 2, 64) + " ms" }

func per(n int, d time.Duration) float64 { return float64(n) / d.Seconds() }

func rate(r float64) string { return strconv.FormatFloat(r, 'f', 0, 64) + "/s" }

func times(a, b float64) string { return strconv.FormatFloat(a/b, 'f', 2, 64) + "×" }

func mega(b int64) string { return strconv.FormatFloat(float64(b)/1e6, 'f', 1, 64) + " MB" }

// met is an aim and whether it was reached.
func met(aim string, reached bool) string {
	if reached {
		return aim + ": yes"
	}
	return aim + ": NO"
}
