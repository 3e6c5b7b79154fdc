package sheet

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/show"
	"witnessmark/device"
)

// Text writes the sheet for a person to read, as deep as is wanted.
func (e *Engine) Text(w io.Writer, d Depth) error {
	p := &printer{w: w, depth: d}
	p.line("Engine %s", e.Engine)
	for i := range e.Builds {
		b := &e.Builds[i]
		unit := ""
		if b.Unit != "" {
			unit = ", unit " + b.Unit
		}
		p.line("\nBuild %d, work order %s%s, procedure %s revision %s, opened %s by %s, %s",
			b.Build, b.WorkOrder, unit, b.Family, b.Revision, audit.When(b.At), show.Name(b.By), b.Standing)
		if doubt := b.InDoubt(); doubt != "" {
			p.line("  IN DOUBT: %s", doubt)
		}
		for _, l := range b.lines() {
			p.line("  %s", l)
		}
		for i := range b.Joints {
			p.joint(&b.Joints[i])
		}
	}
	return p.err
}

// printer remembers the first error of its writer.
type printer struct {
	w     io.Writer
	depth Depth
	err   error
}

func (p *printer) line(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format+"\n", args...)
	}
}

func (p *printer) joint(j *Joint) {
	state := j.State.Loud(j.ToVerify)
	if j.Earlier {
		state += " (an earlier attempt: the joint was begun anew)"
	}
	p.line("\n  Joint %s, %s: %s", j.Joint, j.Title, state)
	for i, r := range j.Runs {
		p.run(r, i == 0)
	}
	if p.depth == Overview {
		for _, d := range j.Doubts {
			p.line("  ! %s", d)
		}
		return
	}
	if p.depth != OfJoint {
		p.readings(j)
	}
	p.order(j.Order)
	p.around(j)
	if len(j.Findings) > 0 {
		p.line("    To look at:")
	}
	for _, f := range j.Findings {
		p.line("    - %s", f)
	}
}

// readings writes every reading, at its step or at none.
func (p *printer) readings(j *Joint) {
	p.steps(j.Steps)
	p.preloads(j.Steps)
	if len(j.Stray) > 0 {
		p.line("    Readings that belong to no step:")
		p.table(func(t io.Writer) {
			for _, m := range j.Stray {
				fmt.Fprintf(t, "    %s\n", columns(m))
			}
		})
	}
	p.before(j)
}

// around writes what people did and said beside the tightening.
func (p *printer) around(j *Joint) {
	if len(j.Checks) > 0 {
		p.line("    Checks:")
	}
	p.table(func(t io.Writer) {
		for _, c := range j.Checks {
			verdict := "not accepted"
			if c.OK {
				verdict = "accepted"
			}
			fmt.Fprintf(t, "    %s\t%s\t%s\t%s\t%s\t%s\tleaf %d\n", c.Check, show.Dash(c.Fastener), c.Answer, verdict, by(c), audit.When(c.At), c.LedgerIndex)
		}
	})
	if j.Bolts != nil {
		p.line("    New bolts: %s", j.Bolts)
	}
	if len(j.Hands) > 0 {
		p.line("    Taken over:")
	}
	p.table(func(t io.Writer) {
		for _, h := range j.Hands {
			fmt.Fprintf(t, "    by %s\t%s\tleaf %d\n", show.Name(h.By), audit.When(h.At), h.LedgerIndex)
		}
	})
	if len(j.Scans) > 0 {
		p.line("    Labels scanned:")
	}
	p.table(func(t io.Writer) {
		for _, l := range j.Scans {
			fmt.Fprintf(t, "    fastener %s\t%s\t%s\tleaf %d\n", l.Fastener, show.Name(l.By), audit.When(l.At), l.LedgerIndex)
		}
	})
	if len(j.Renewals) > 0 {
		p.line("    Bolts renewed:")
	}
	p.table(func(t io.Writer) {
		for _, b := range j.Renewals {
			fmt.Fprintf(t, "    fastener %s\t%s\t%s\t%s\tleaf %d\n", b.Fastener, show.Dash(b.Reason), show.Name(b.By), audit.When(b.At), b.LedgerIndex)
		}
	})
	p.named(j.Named)
}

func (p *printer) run(r Run, first bool) {
	began, closed := "taken up again", "still on the bench"
	if first {
		began = "started"
	}
	if r.Closed != nil {
		closed = "closed " + audit.When(*r.Closed)
	}
	p.line("  bench %s, %s %s by %s, %s", r.Bench, began, audit.When(r.Started), show.Name(r.By), closed)
}

func (p *printer) steps(steps []Step) {
	p.table(func(t io.Writer) {
		fmt.Fprintln(t, "    STAGE\tFASTENER\tWANTED\tSTATE\tTORQUE\tANGLE\tVERDICT\tFLAGS\tKNOWN BY\tSURE\tWRENCH\tAT\tREADING\tLEAF")
		for _, s := range steps {
			for _, m := range s.Replaced {
				fmt.Fprintf(t, "    %s\t%s\t%s\t%s\t%s\n", s.Stage, s.Fastener, s.Target, "old bolt", columns(m))
			}
			if len(s.Marks) == 0 {
				fmt.Fprintf(t, "    %s\t%s\t%s\t%s\n", s.Stage, s.Fastener, s.Target, strings.ToUpper(s.State))
			}
			for i, m := range s.Marks {
				state := "" // the state is that after the last reading
				if i == len(s.Marks)-1 {
					state = s.State
				}
				fmt.Fprintf(t, "    %s\t%s\t%s\t%s\t%s\n", s.Stage, s.Fastener, s.Target, state, columns(m))
			}
		}
	})
}

func (p *printer) table(fill func(io.Writer)) {
	t := tabwriter.NewWriter(p.w, 2, 0, 2, ' ', tabwriter.StripEscape)
	fill(t)
	if err := t.Flush(); p.err == nil {
		p.err = err
	}
}

func columns(m Mark) string {
	angle, turn := "–", ""
	if m.Angle != nil {
		angle = string(*m.Angle) + "°"
	}
	if m.Direction == string(device.Loosen) {
		turn = " loosened"
	}
	if m.Adapter != "" {
		turn += fmt.Sprintf(" (%s at the fastener, through %s)", m.Applied, m.Adapter)
	}
	return fmt.Sprintf("%s %s%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t#%d\t%d", m.Torque, m.Unit, turn, angle, m.Verdict,
		show.Dash(strings.Join(m.Flags, ", ")), known(m.LocatedBy), show.Percent(m.sure), m.Wrench, audit.When(m.At), m.Reading, m.LedgerIndex)
}

func known(by audit.LocatedBy) string { return show.Dash(string(by)) }

// by is who answered a check, or the reading that did.
func by(c Check) string {
	if c.Reading != 0 {
		return fmt.Sprintf("reading #%d, %s", c.Reading, c.Wrench)
	}
	return show.Name(c.By)
}
