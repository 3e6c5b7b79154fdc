package replay

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/show"
	"witnessmark/device"
)

type step struct {
	Stage    string `json:"stage"`
	Fastener string `json:"fastener"`
}

type finding struct {
	Step       *step           `json:"step"` // null: belongs to no step
	Verdict    audit.Verdict   `json:"verdict"`
	Flags      []string        `json:"flags"`
	Confidence json.Number     `json:"confidence"`
	LocatedBy  audit.LocatedBy `json:"located_by"`
}

type readingLine struct {
	Reading int     `json:"reading"`
	Live    finding `json:"live"`
	Final   finding `json:"final"`
}

func asFinding(m *audit.Mark) finding {
	f := finding{Verdict: m.Verdict, Flags: m.Flags, Confidence: json.Number(m.Confidence.Decimal()), LocatedBy: m.LocatedBy}
	if m.Fastener != "" {
		f.Step = &step{m.Stage, m.Fastener}
	}
	return f
}

// JSON writes one line a reading and the summary as the last line.
func JSON(w io.Writer, r *bench.Replayed) error {
	enc := json.NewEncoder(w)
	for i := range r.Live {
		if err := enc.Encode(readingLine{i + 1, asFinding(&r.Live[i]), asFinding(&r.Final[i])}); err != nil {
			return err
		}
	}
	return enc.Encode(struct {
		Summary bench.Summary `json:"summary"`
	}{r.Summary})
}

// Text writes a table a person can read, and the summary below it.
func Text(w io.Writer, readings []device.Reading, r *bench.Replayed) error {
	t := tabwriter.NewWriter(w, 2, 0, 2, ' ', 0)
	fmt.Fprintln(t, "No.\tWrench\tTorque\tAngle\tStage\tFastener\tVerdict\tSure\tKnown by\tFlags\tAt first said")
	for i := range readings {
		m := &r.Final[i]
		fmt.Fprintf(t, "%d\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", i+1, readings[i].Wrench, readings[i].Torque, angle(&readings[i]),
			show.Dash(m.Stage), show.Dash(m.Fastener), m.Verdict, show.Percent(m.Confidence), show.Dash(string(m.LocatedBy)),
			show.Dash(strings.Join(m.Flags, ", ")), first(&r.Live[i], m))
	}
	if err := t.Flush(); err != nil {
		return err
	}
	return summary(w, &r.Summary)
}

func angle(r *device.Reading) string {
	if r.Angle == nil {
		return "–"
	}
	return r.Angle.String()
}

// first tells what was said live where the final finding differs.
func first(live, final *audit.Mark) string {
	if live.Stage == final.Stage && live.Fastener == final.Fastener && live.Verdict == final.Verdict {
		return ""
	}
	if live.Fastener == "" {
		return "no step"
	}
	return fmt.Sprintf("%s %s, %s", live.Stage, live.Fastener, live.Verdict)
}

// summary tells whether the joint is complete, what is open and what needs a person.
func summary(w io.Writer, s *bench.Summary) error {
	fmt.Fprintf(w, "\n%s\n", standing(s))
	for _, line := range show.Summary(*s) {
		fmt.Fprintln(w, line)
	}
	_, err := fmt.Fprintf(w, "\n%s\n", show.Safety)
	return err
}

func standing(s *bench.Summary) string {
	switch {
	case !s.Complete:
		return "Not complete."
	case len(s.Verification) > 0:
		return "All of this joint is tightened; its verification is still open."
	}
	return "Every step is done."
}
