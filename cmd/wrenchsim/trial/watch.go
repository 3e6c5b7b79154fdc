package trial

import (
	"fmt"
	"io"
	"text/tabwriter"

	"witnessmark/audit"
	"witnessmark/audit/procedure"
)

// Wrong is how many of some pulls got the wrong verdict.
type Wrong struct {
	Of   int
	All  int
	Half int // … with a confidence of at least one half
	Sure int // … of at least 0.9
}

func (w *Wrong) add(wrong bool, c audit.Share) {
	w.Of++
	if !wrong {
		return
	}
	w.All++
	if c >= audit.Certain/2 {
		w.Half++
	}
	if c >= audit.Certain/10*9 {
		w.Sure++
	}
}

// Verdicts is what was said of the watched pulls, at once or at the close. The slip of a run that is turned twice is none of
// them: it has a row of its own.
type Verdicts struct {
	Step Count // at their step, of those that physics can tell
	Good Wrong // would pass at their step, and did not
	Bad  Wrong // would not, and did
	Took Count // verifications that were taken for a tightening
}

// Watch is what was found in the runs of one way.
type Watch struct {
	Runs        int
	Complete    Count // incomplete runs, of those whose slip physics tells, that were called complete
	Live, Final Verdicts
}

func (w *Watch) add(r *Run, got heard, live, final []int, steps []procedure.Step) {
	w.Runs++
	if r.Incomplete() && r.Knowable {
		w.Complete.add(got.complete)
	}
	for i := range r.Labels {
		if l := &r.Labels[i]; l.Watched && l.Step >= 0 && !(l.Slip && r.Slip == TurnTwice) {
			w.Live.add(l, &got.live[i], live[i], steps)
			w.Final.add(l, &got.final[i], final[i], steps)
		}
	}
}

func (v *Verdicts) add(l *Label, m *audit.Mark, at int, steps []procedure.Step) {
	if !l.Shadow {
		v.Step.add(at == l.Step)
	}
	if l.Good {
		v.Good.add(m.Verdict != audit.Pass, m.Confidence)
	} else {
		v.Bad.add(m.Verdict == audit.Pass, m.Confidence)
	}
	if steps[l.Step].Action == procedure.Verify {
		v.Took.add(at >= 0 && steps[at].Action != procedure.Verify)
	}
}

// watched prints a line for each way that was seen, at once and at the close.
func (s *Score) watched(w io.Writer) error {
	if len(s.Ways) == 0 {
		return nil
	}
	t := tabwriter.NewWriter(w, 2, 0, 2, ' ', 0)
	fmt.Fprintln(t, "\nWATCHED\tRUNS\tCALLED COMPLETE\tSAID\tSTEP RIGHT\tGOOD PULLS\tFALSE VERDICT\tFROM 0.5\tFROM 0.9\tBAD PULLS\tPASSED\tFROM 0.5\tFROM 0.9\tVERIFICATIONS TAKEN FOR A TIGHTENING")
	for _, way := range Ways() {
		a := s.Ways[way]
		if a == nil {
			continue
		}
		fmt.Fprintf(t, "%s\t%d\t%s\tat once\t%s\n", way, a.Runs, a.Complete.of(), &a.Live)
		fmt.Fprintf(t, "\t\t\tat the close\t%s\n", &a.Final)
	}
	return t.Flush()
}

// String is the right half of a line.
func (v *Verdicts) String() string {
	return fmt.Sprintf("%s\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t%s", v.Step, v.Good.Of, v.Good.All, v.Good.Half, v.Good.Sure,
		v.Bad.Of, v.Bad.All, v.Bad.Half, v.Bad.Sure, v.Took.of())
}
