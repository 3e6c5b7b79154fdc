package trial

import (
	"fmt"
	"io"
	"text/tabwriter"
)

// Table prints the score: a line a slip, bench beside cursor.
func (s *Score) Table(w io.Writer) error {
	t := tabwriter.NewWriter(w, 2, 0, 2, ' ', 0)
	fmt.Fprintln(t, "SLIP\tRUNS\tFOUND\tAT ONCE\tNO TRACE\tFLAGGED\tCALLED COMPLETE\tSTEP RIGHT\tAT ONCE\tIN SHADOW\tCURSOR FOUND\tCALLED COMPLETE\tSTEP RIGHT")
	for _, slip := range Slips() {
		a, c := s.Slips[slip], s.Cursor[slip]
		if a.Runs == 0 {
			continue
		}
		fmt.Fprintf(t, "%s\t%d\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", slip, a.Runs, a.Found, a.Live, a.Hidden, a.Flagged,
			a.Complete.of(), a.Light, a.Said, a.Shadow, c.Found, c.Complete.of(), c.Light)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	if err := s.watched(w); err != nil {
		return err
	}
	if _, err := fmt.Fprintf(w, "\n%s%s", s.aims(), s.bound.String()); err != nil {
		return err
	}
	_, err := fmt.Fprintf(w, "expected calibration error: at once %.4f, at the close %.4f\n", s.Live.Error(), s.Final.Error())
	return err
}

// aims are the figures that trade against each other, with how exactly the runs tell them.
func (s *Score) aims() string {
	out := ""
	if c := s.Slips[Clean].Flagged; c.Of > 0 {
		out += fmt.Sprintf("clean joints flagged: %s\n", c.within())
	}
	if c := s.Slips[TurnTwice].Complete; c.Of > 0 {
		out += fmt.Sprintf("turned twice and called complete: %s\n", c.within())
	}
	return out
}

// String is a share in percent; – where there was none to count.
func (c Count) String() string {
	if c.Of == 0 {
		return "–"
	}
	return fmt.Sprintf("%.2f %%", 100*c.Share())
}

func (c Count) of() string {
	if c.Of == 0 {
		return "–"
	}
	return fmt.Sprintf("%d of %d", c.Hit, c.Of)
}
