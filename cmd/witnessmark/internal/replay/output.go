package replay

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"witnessmark/audit"
	"witnessmark/audit/bench"
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
	f := finding{Verdict: m.Verdict, Flags: m.Flags, Confidence: json.Number(Share(m.Confidence)), LocatedBy: m.LocatedBy}
	if m.Fastener != "" {
		f.Step = &step{m.Stage, m.Fastener}
	}
	return f
}

// Share writes a probability with three decimals, e.g. 0.997.
func Share(s audit.Share) string {
	thousandths := (int64(s) + 500) / 1000
	return fmt.Sprintf("%d.%03d", thousandths/1000, thousandths%1000)
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
			dash(m.Stage), dash(m.Fastener), m.Verdict, Share(m.Confidence), dash(string(m.LocatedBy)),
			dash(strings.Join(m.Flags, ", ")), first(&r.Live[i], m))
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

func dash(s string) string {
	if s == "" {
		return "–"
	}
	return s
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

func summary(w io.Writer, s *bench.Summary) error {
	state := "Every step is done."
	if !s.Complete {
		state = "Not complete."
	}
	fmt.Fprintf(w, "\n%s\n", state)
	for _, o := range s.Open {
		fmt.Fprintf(w, "  open at stage %s: %s\n", o.Stage, strings.Join(o.Fasteners, ", "))
	}
	for _, o := range s.Verification {
		fmt.Fprintf(w, "  verification is still open at stage %s: %s\n", o.Stage, strings.Join(o.Fasteners, ", "))
	}
	for _, a := range s.Attention {
		fmt.Fprintf(w, "  attention: %s\n", a)
	}
	_, err := fmt.Fprintln(w, "\nThis is a record, no safety device: the engine maker's procedure and the licensed person decide.")
	return err
}
