package claim

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/sheet"
	"witnessmark/cmd/witnessmark/internal/show"
	"witnessmark/store"
)

// Text writes the answer for a person to read.
func (c *Claim) Text(w io.Writer) error {
	p := &printer{w: w}
	c.heading(p)
	if !c.Sure() {
		p.found(c.Found)
		return p.err
	}
	for i := range c.Builds {
		p.build(&c.Builds[i])
	}
	if c.Story != nil {
		p.story(c.Story)
	}
	return p.err
}

func (c *Claim) heading(p *printer) {
	switch {
	case c.Likeness == "":
		p.line("Nothing in this shop is known by %s, and nothing like it.", c.Asked)
	case !c.Sure():
		p.line("Nothing in this shop is known by %s. Like it (%s):", c.Asked, c.Likeness)
	case c.Likeness == store.WrittenOtherwise:
		p.line("%s is written otherwise here: %s", c.Asked, strings.Join(c.written(), ", "))
	}
	if c.Note != "" {
		p.line("Of %s: %s", c.Asked, c.Note)
	}
	if c.Known != nil {
		p.line("As it was known on %s; names are as they are today.", audit.When(*c.Known))
	}
}

// printer remembers the first error of its writer.
type printer struct {
	w   io.Writer
	err error
}

func (p *printer) line(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format+"\n", args...)
	}
}

func (p *printer) table(rows func(t io.Writer)) {
	if p.err != nil {
		return
	}
	t := tabwriter.NewWriter(p.w, 2, 0, 2, ' ', 0)
	rows(t)
	p.err = t.Flush()
}

func (p *printer) found(list []Found) {
	p.table(func(t io.Writer) {
		for _, f := range list {
			fmt.Fprintf(t, "  engine %s\twork order %s\tunit %s\tbuild %d\t%s\tby its %s\n", f.Engine, f.WorkOrder, show.Dash(f.Unit), f.Build, f.At.UTC().Format(time.DateOnly), f.By)
		}
	})
}

func (p *printer) build(b *Build) {
	asked := ""
	if !b.Asked {
		asked = " (another build of the same engine)"
	}
	p.line("\nEngine %s, build %d, work order %s, unit %s, procedure %s revision %s%s", b.Engine, b.Build, b.WorkOrder, show.Dash(b.Unit), b.Family, b.Revision, asked)
	p.line("  opened %s by %s", audit.When(b.OpenedAt), show.Name(b.OpenedBy))
	for _, a := range b.Acts {
		p.line("  %s %s by %s (%s)", a.What, audit.When(a.At), show.Name(a.By), a.Text)
	}
	if !b.Released {
		p.line("  not released")
	}
	if b.InDoubt != "" {
		p.line("  IN DOUBT: %s", b.InDoubt)
	}
	p.table(func(t io.Writer) {
		for _, j := range b.Joints {
			closed := "still on the bench"
			if j.Closed != nil {
				closed = "closed " + audit.When(*j.Closed)
			}
			fmt.Fprintf(t, "  joint %s\tby %s\tbench %s\t%s\t%s\n", j.Joint, show.Name(j.By), j.Bench, closed, j.State.Loud(j.ToVerify))
		}
	})
	for _, j := range b.Joints {
		for _, f := range j.Findings {
			p.line("  ! joint %s: %s", j.Joint, f)
		}
	}
}

func (p *printer) story(s *Story) {
	p.line("\nThe story of joint %s%s", s.Joint, of(s.Fastener))
	for _, e := range s.Engines {
		if p.err == nil {
			p.line("")
			p.err = e.Text(p.w, sheet.OfMark)
		}
	}
	if s.Fastener == "" {
		return
	}
	p.line("\nWhat the wrench sent:")
	for _, r := range slices.Sorted(maps.Keys(s.Raw)) {
		p.line("  reading %d  %s", r, s.Raw[r])
	}
	for _, st := range s.Standings {
		p.line("\nStage %s, %s %s (build %d, reading %d)\n  %s", st.Stage, st.What, st.Value, st.Build, st.Reading, st.Sentence())
		if !st.TooFew {
			p.line("%s", strings.TrimRight(st.Picture.Text("  "), "\n"))
		}
	}
}

func of(fastener string) string {
	if fastener == "" {
		return ""
	}
	return ", fastener " + fastener
}
