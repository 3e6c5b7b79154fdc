package affected

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/show"
	"witnessmark/store"
)

// turnedShown is how many readings of a build are written for a person; JSON has them all.
const turnedShown = 10

// Text writes the list for a person to read.
func (o *Wrench) Text(w io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "Wrench %s: %s of %s in doubt, %s\n", o.Wrench, show.Count(o.Taken, "reading"), show.Count(o.engines(), "build"), o.Why)
	switch {
	case o.Found == "":
		b.WriteString("No deviation was found or given: the readings are not judged again.\n")
	default:
		fmt.Fprintf(&b, "Judged again with %s: %s would turn", o.Found, show.Count(o.Turn, "verdict"))
		if o.NotJudged > 0 {
			fmt.Fprintf(&b, "; %s to no step", belong(o.NotJudged))
		}
		b.WriteString("\n")
	}
	for _, e := range o.Builds {
		e.text(&b)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func belong(n int) string {
	if n == 1 {
		return "1 reading belongs"
	}
	return fmt.Sprintf("%d readings belong", n)
}

func (o *Wrench) engines() (n int) {
	for _, e := range o.Builds {
		if e.Build != 0 {
			n++
		}
	}
	return n
}

func (e *Build) text(b *strings.Builder) {
	name := "\nReadings that belong to no build"
	if e.Build != 0 {
		name = fmt.Sprintf("\nEngine %s, build %d, work order %s, unit %s", e.Engine, e.Build, e.WorkOrder, show.Dash(e.Unit))
	}
	fmt.Fprintf(b, "%s: %s from %s to %s\n", name, show.Count(e.Readings, "reading"), audit.When(e.First), audit.When(e.Last))
	for _, t := range e.Turned[:min(len(e.Turned), turnedShown)] {
		fmt.Fprintf(b, "  joint %s, stage %s, fastener %s: %s was %s: %s would be %s (reading %d)\n", t.Joint, t.Stage, t.Fastener,
			t.Shown, t.Was.In("N·m", 2)+" N·m", t.Verdict, t.Now, t.Reading)
	}
	if more := len(e.Turned) - turnedShown; more > 0 {
		fmt.Fprintf(b, "  and %d more; --format json has them all\n", more)
	}
}

// Run is one run of a joint that something bad has touched. Its JSON is an interface: fields are only added.
type Run struct {
	Engine    string     `json:"engine"`
	Build     uint64     `json:"build"`
	WorkOrder string     `json:"work_order"`
	Unit      string     `json:"unit,omitempty"`
	Family    string     `json:"family"`
	Revision  string     `json:"revision"`
	Joint     string     `json:"joint"`
	Run       uint64     `json:"run"`
	Bench     string     `json:"bench"`
	Started   time.Time  `json:"started"`
	Closed    *time.Time `json:"closed"` // null: still on the bench
}

// Runs are the runs as they are written out.
func Runs(list []store.Touched) []Run {
	out := make([]Run, 0, len(list))
	for _, t := range list {
		out = append(out, Run{t.Engine, t.Build, t.WorkOrder, t.Unit, t.Family, t.Revision, t.Joint, t.Run, t.Bench, t.Started, t.Closed})
	}
	return out
}

// RunsText writes the runs for a person to read.
func RunsText(w io.Writer, what string, list []Run) error {
	engines, joints := map[string]bool{}, map[string]bool{}
	for _, r := range list { // one that was closed and taken up again is one joint in two runs
		engines[r.Engine], joints[fmt.Sprint(r.Build, r.Joint)] = true, true
	}
	runs := ""
	if len(list) != len(joints) {
		runs = " in " + show.Count(len(list), "run")
	}
	if _, err := fmt.Fprintf(w, "%s: %s of %s%s\n", what, show.Count(len(joints), "joint"), show.Count(len(engines), "engine"), runs); err != nil || len(list) == 0 {
		return err
	}
	t := tabwriter.NewWriter(w, 2, 0, 2, ' ', 0)
	fmt.Fprintln(t, "ENGINE\tWORK ORDER\tUNIT\tBUILD\tPROCEDURE\tJOINT\tBENCH\tSTARTED\tCLOSED")
	for _, r := range list {
		closed := "still on the bench"
		if r.Closed != nil {
			closed = audit.When(*r.Closed)
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%d\t%s revision %s\t%s\t%s\t%s\t%s\n", r.Engine, r.WorkOrder, show.Dash(r.Unit), r.Build, r.Family, r.Revision, r.Joint, r.Bench, audit.When(r.Started), closed)
	}
	return t.Flush()
}
