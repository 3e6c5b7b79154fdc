package sheet

import (
	"slices"
	"strconv"
	"strings"

	"witnessmark/audit"
	"witnessmark/store"
)

// Filter says what of a history is wanted. What is empty is not asked for; all that is asked for must hold.
type Filter struct {
	Joint, Fastener, Wrench string
	Verdict                 audit.Verdict
	Flag                    string
	Technician              string // name of who had the joint on the bench, or answered
}

// marks is true of a filter that asks for something of single readings.
func (f *Filter) marks() bool { return f.Fastener != "" || f.Technician != "" || f.readings() }

// readings is true of one that asks for what only a reading has.
func (f *Filter) readings() bool { return f.Wrench != "" || f.Verdict != "" || f.Flag != "" }

// Keep leaves what a filter asks for. The form stays the same; a joint of which nothing is left is left out. Completeness,
// order and runs are those of the whole joint; findings, which are about all of it, go where single readings are asked for.
func (e *Engine) Keep(f Filter) {
	for i := range e.Builds {
		b := &e.Builds[i]
		b.Joints = keep(b.Joints, func(j *Joint) bool { return (f.Joint == "" || j.Joint == f.Joint) && j.keep(&f) })
		b.Concessions = keep(b.Concessions, func(c *Concession) bool {
			return f.place(c.Joint, c.Fastener) && (f.by(c.By) || f.by(c.SecondedBy)) && (!f.readings() || b.has(c.Reading) || b.left(c))
		})
		b.Corrections = keep(b.Corrections, func(c *Correction) bool {
			return f.by(c.By) && (f.Joint == "" && f.Fastener == "" && !f.readings() || b.has(c.Reading))
		})
	}
}

func keep[T any](all []T, want func(*T) bool) []T {
	out := all[:0]
	for i := range all {
		if want(&all[i]) {
			out = append(out, all[i])
		}
	}
	return out
}

func (f *Filter) by(name string) bool {
	return f.Technician == "" || strings.EqualFold(f.Technician, name)
}

func (f *Filter) place(joint, fastener string) bool {
	return (f.Joint == "" || f.Joint == joint) && (f.Fastener == "" || fastener == "" || f.Fastener == fastener)
}

// keep is false where nothing is left of the joint.
func (o *Joint) keep(f *Filter) bool {
	if !f.marks() {
		return true
	}
	o.Steps = keep(o.Steps, func(s *Step) bool {
		want := func(m *Mark) bool { return f.mark(m, s.Fastener) }
		s.Marks, s.Replaced = keep(s.Marks, want), keep(s.Replaced, want)
		return len(s.Marks)+len(s.Replaced) > 0 || f.step(s)
	})
	o.Stray = keep(o.Stray, func(m *Mark) bool { return f.mark(m, "") })
	o.Checks = keep(o.Checks, f.check)
	o.Scans = keep(o.Scans, func(s *Scan) bool { return f.said(s.Fastener, s.By) })
	o.Renewals = keep(o.Renewals, func(r *Renewal) bool { return f.said(r.Fastener, r.By) })
	o.Named = keep(o.Named, func(n *Named) bool { return f.said(n.Fastener, n.By) })
	o.Findings, o.OfJoint = []string{}, nil
	return len(o.Steps)+len(o.Stray)+len(o.Checks)+len(o.Scans)+len(o.Renewals)+len(o.Named) > 0
}

// step keeps an open step of a fastener that alone is asked for: that nothing was done there is its story.
func (f *Filter) step(s *Step) bool {
	return *f == Filter{Joint: f.Joint, Fastener: s.Fastener}
}

// mark asks of a reading; fastener is that of its step. One that was once held to be of the fastener belongs to its story.
func (f *Filter) mark(m *Mark, fastener string) bool {
	once := func(b Earlier) bool { return b.Fastener == f.Fastener }
	return (f.Fastener == "" || f.Fastener == fastener || slices.ContainsFunc(m.Before, once)) &&
		(f.Wrench == "" || f.Wrench == m.Wrench) && (f.Verdict == "" || f.Verdict == m.Verdict) &&
		(f.Flag == "" || slices.Contains(m.Flags, f.Flag)) && f.by(m.By)
}

func (f *Filter) check(c *Check) bool {
	return (f.Fastener == "" || c.Fastener == "" || f.Fastener == c.Fastener) && (f.Wrench == "" || f.Wrench == c.Wrench) &&
		f.Verdict == "" && (f.Flag == "" || slices.Contains(c.Flags, f.Flag)) && f.by(c.By)
}

// said asks of what a person said of a fastener, which has no wrench, verdict or flag.
func (f *Filter) said(fastener, by string) bool {
	return !f.readings() && (f.Fastener == "" || f.Fastener == fastener) && f.by(by)
}

// left is true where the step that a concession is about is left.
func (b *Build) left(c *Concession) bool {
	return slices.ContainsFunc(b.Joints, func(j Joint) bool {
		return j.Joint == c.Joint && slices.ContainsFunc(j.Steps, func(s Step) bool { return s.Stage == c.Stage && s.Fastener == c.Fastener })
	})
}

// has is true where a reading is left in the build.
func (b *Build) has(reading uint64) bool {
	mine := func(m Mark) bool { return m.Reading == reading }
	return slices.ContainsFunc(b.Joints, func(j Joint) bool {
		return slices.ContainsFunc(j.Stray, mine) || slices.ContainsFunc(j.Steps, func(s Step) bool {
			return slices.ContainsFunc(s.Marks, mine) || slices.ContainsFunc(s.Replaced, mine)
		})
	})
}

// AddRaw puts what the wrench sent into every reading that is left.
func (e *Engine) AddRaw(h *store.History) {
	raw := map[uint64]string{}
	for i := range h.Builds {
		for j := range h.Builds[i].Runs {
			for _, r := range h.Builds[i].Runs[j].Readings {
				raw[r.Seq] = strings.Trim(strconv.QuoteToASCII(string(r.Raw)), `"`)
			}
		}
	}
	add := func(all []Mark) {
		for i := range all {
			all[i].Raw = raw[all[i].Reading]
		}
	}
	for i := range e.Builds {
		for j := range e.Builds[i].Joints {
			o := &e.Builds[i].Joints[j]
			add(o.Stray)
			for k := range o.Steps {
				add(o.Steps[k].Marks)
				add(o.Steps[k].Replaced)
			}
		}
	}
}
