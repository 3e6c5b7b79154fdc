package sheet

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/show"
)

// Depth is how far the text goes into an engine's history.
type Depth string

// The depths. Each shows what the one before shows, and more.
const (
	Overview   Depth = "overview" // builds, how they stand, and their joints
	OfJoint    Depth = "joint"    // with the order and times of the stages, checks, and what people said
	OfFastener Depth = "fastener" // with every step and its readings
	OfMark     Depth = "mark"     // with everything that was said of a reading before
)

// lines says in a sentence each who released the build, and who accepted and corrected what, in the order in which it was
// recorded.
func (b *Said) lines() (out []string) {
	at := map[int64]string{}
	for _, c := range b.Concessions {
		second := ""
		if c.SecondedBy != "" {
			second = " and " + c.SecondedBy
		}
		at[c.LedgerIndex] = fmt.Sprintf("conceded by %s%s %s, leaf %d: %s: %s", show.Name(c.By), second, audit.When(c.At), c.LedgerIndex, c.Found, c.Reason)
	}
	for _, c := range b.Corrections {
		where := "no step of its joint"
		if c.Fastener != "" {
			where = strings.TrimSpace("fastener " + c.Fastener + " " + c.Stage)
		}
		at[c.LedgerIndex] = fmt.Sprintf("corrected %s: reading #%d was %s: %s", byWhom(c.Act), c.Reading, where, c.Reason)
	}
	for _, r := range b.Releases {
		at[r.LedgerIndex] = fmt.Sprintf("released %s, ledger of %d leaves, root %x", byWhom(r.Act), r.Size, r.Root)
	}
	for _, r := range b.Reopenings {
		at[r.LedgerIndex] = fmt.Sprintf("reopened %s: %s", byWhom(r.Act), r.Reason)
	}
	for _, leaf := range slices.Sorted(maps.Keys(at)) {
		out = append(out, at[leaf])
	}
	return out
}

func byWhom(a Act) string {
	return fmt.Sprintf("by %s %s, leaf %d", show.Name(a.By), audit.When(a.At), a.LedgerIndex)
}

// order writes the order in which it was done, and how long it was between the stages.
func (p *printer) order(all []StageOrder) {
	p.line("    Order in which it was done:")
	p.table(func(t io.Writer) {
		for _, o := range all {
			fmt.Fprintf(t, "    %s\t%s\n", o.Stage, strings.Join(append([]string{inOrder(&o)}, times(&o)...), "\t"))
		}
	})
}

func inOrder(o *StageOrder) string {
	switch {
	case len(o.Done) == 0:
		return "not done"
	case len(o.OutOfTurn) == 0 && len(o.Done) == len(o.Wanted):
		return "as wanted: " + strings.Join(o.Done, " ")
	}
	text := "wanted " + strings.Join(o.Wanted, " ") + ", done " + strings.Join(o.Done, " ")
	if len(o.OutOfTurn) > 0 {
		text += ", out of turn " + strings.Join(o.OutOfTurn, " ")
	}
	return text
}

func times(o *StageOrder) []string {
	if o.Began == nil {
		return nil
	}
	text := audit.When(*o.Began) + " … " + audit.When(*o.Ended)
	if o.Pause != nil {
		text += ", " + (time.Duration(*o.Pause) * time.Second).String() + " after the stage before"
	}
	return []string{text}
}

// before writes what was said of a reading earlier, and its bytes where they are asked for.
func (p *printer) before(j *Joint) {
	var told []Mark
	each := func(all []Mark) {
		for _, m := range all {
			if len(m.Before) > 0 && p.depth == OfMark || m.Raw != "" {
				told = append(told, m)
			}
		}
	}
	for i := range j.Steps {
		each(j.Steps[i].Replaced)
		each(j.Steps[i].Marks)
	}
	each(j.Stray)
	if len(told) > 0 {
		p.line("    Of single readings:")
	}
	for _, m := range told {
		if m.Raw != "" {
			p.line("    #%d came as %s", m.Reading, m.Raw)
		}
		if p.depth != OfMark {
			continue
		}
		for _, b := range m.Before {
			p.line("    #%d was before: %s", m.Reading, b.Words())
		}
	}
}

// Words says what was said in a sentence.
func (b *Earlier) Words() string {
	where := "no step"
	switch {
	case b.Check != "":
		where = "check " + bench.CheckName(b.Check, b.Fastener)
	case b.Fastener != "":
		where = "stage " + b.Stage + ", fastener " + b.Fastener
	}
	return fmt.Sprintf("%s: %s, known by %s (%s), said %s, leaf %d", where, b.Verdict, known(b.LocatedBy), show.Dash(strings.Join(b.Flags, ", ")), audit.When(b.At), b.LedgerIndex)
}

func (p *printer) named(all []Named) {
	if len(all) > 0 {
		p.line("    Fasteners named by people:")
	}
	p.table(func(t io.Writer) {
		for _, n := range all {
			where := "no step"
			if n.Fastener != "" {
				where = "fastener " + n.Fastener
			}
			fmt.Fprintf(t, "    #%d was %s\t%s\t%s\tleaf %d\n", n.Reading, where, show.Name(n.By), audit.When(n.At), n.LedgerIndex)
		}
	})
}
