package claim

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/audit/standing"
	"witnessmark/cmd/witnessmark/internal/sheet"
	"witnessmark/device/unit"
	"witnessmark/store"
)

// Story is what was done to one joint, or to one fastener of it, in the builds that were asked for.
type Story struct {
	Joint    string          `json:"joint"`
	Fastener string          `json:"fastener,omitempty"` // empty: all of the joint
	Engines  []*sheet.Engine `json:"engines"`            // with that joint and fastener alone
	// Raw is what the wrench sent, by reading, as text with what cannot be printed escaped.
	Raw       map[uint64]string `json:"raw"`
	Standings []Standing        `json:"standings,omitempty"` // of the fastener
}

// Standing is where a reading lies among those of the same step in all builds of the family.
type Standing struct {
	Build   uint64 `json:"build"`
	Run     uint64 `json:"run"`
	Reading uint64 `json:"reading"`
	Stage   string `json:"stage"`
	What    string `json:"what"`  // torque or angle
	Value   string `json:"value"` // with its unit
	// Rank is the share in millionths of readings below it, those equal counted half.
	Rank    audit.Share `json:"rank_millionths,omitempty"` // left out where TooFew
	TooFew  bool        `json:"too_few,omitempty"`         // they are fewer than LeastCompared
	Of      int         `json:"of"`                        // readings that it was held against
	All     int         `json:"all"`                       // readings of the step in the record
	Sampled bool        `json:"sampled"`                   // an even sample was read, not all
	Picture Picture     `json:"picture"`
}

// LeastCompared is how many readings of a step it takes to say where one lies among them.
const LeastCompared = 10

// Tell adds the story of a joint or fastener from an engine's history and its sheet.
func (c *Claim) Tell(h *store.History, e *sheet.Engine, joint, fastener string) {
	if c.Story == nil {
		c.Story = &Story{Joint: joint, Fastener: fastener, Raw: map[uint64]string{}}
	}
	only := &sheet.Engine{Engine: e.Engine, Builds: []sheet.Build{}}
	for _, b := range e.Builds {
		if !c.asked(b.Build) {
			continue
		}
		b.Joints = slices.DeleteFunc(slices.Clone(b.Joints), func(j sheet.Joint) bool { return j.Joint != joint })
		for i := range b.Joints {
			if fastener != "" {
				narrow(&b.Joints[i], fastener)
			}
		}
		only.Builds = append(only.Builds, b)
	}
	c.Story.Engines = append(c.Story.Engines, only)
	c.Story.keepRaw(h, only)
}

// narrow leaves of a joint what concerns one fastener, and what was once held to concern it.
func narrow(j *sheet.Joint, fastener string) {
	j.Steps = slices.DeleteFunc(slices.Clone(j.Steps), func(s sheet.Step) bool {
		return s.Fastener != fastener && !slices.ContainsFunc(s.Marks, func(m sheet.Mark) bool { return once(m, fastener) })
	})
	j.Stray = slices.DeleteFunc(slices.Clone(j.Stray), func(m sheet.Mark) bool { return !once(m, fastener) })
	j.Checks = slices.DeleteFunc(slices.Clone(j.Checks), func(c sheet.Check) bool { return c.Fastener != "" && c.Fastener != fastener })
	j.Scans = slices.DeleteFunc(slices.Clone(j.Scans), func(s sheet.Scan) bool { return s.Fastener != fastener })
}

func once(m sheet.Mark, fastener string) bool {
	return slices.ContainsFunc(m.Before, func(b sheet.Earlier) bool { return b.Fastener == fastener })
}

func (s *Story) keepRaw(h *store.History, e *sheet.Engine) {
	wanted := map[uint64]bool{}
	eachMark(e, func(_ sheet.Build, _ sheet.Joint, _ string, m sheet.Mark) { wanted[m.Reading] = true })
	for _, b := range h.Builds {
		for _, r := range b.Runs {
			for _, rd := range r.Readings {
				if wanted[rd.Seq] {
					s.Raw[rd.Seq] = strings.Trim(fmt.Sprintf("%+q", rd.Raw), `"`)
				}
			}
		}
	}
}

// eachMark visits the marks of an engine; stage is empty for one that belongs to no step.
func eachMark(e *sheet.Engine, visit func(b sheet.Build, j sheet.Joint, stage string, m sheet.Mark)) {
	for _, b := range e.Builds {
		for _, j := range b.Joints {
			for _, s := range j.Steps {
				for _, m := range s.Marks {
					visit(b, j, s.Stage, m)
				}
			}
			for _, m := range j.Stray {
				visit(b, j, "", m)
			}
		}
	}
}

// Steps are those of the fastener whose readings are to be held against all builds of the family.
func (s *Story) Steps() []store.Step {
	var out []store.Step
	s.eachStep(func(b sheet.Build, _ sheet.Joint, st sheet.Step) {
		step := store.Step{Family: b.Family, Joint: s.Joint, Stage: st.Stage, Fastener: st.Fastener}
		if !slices.Contains(out, step) {
			out = append(out, step)
		}
	})
	return out
}

// eachStep visits the steps of the fastener that have a reading.
func (s *Story) eachStep(visit func(b sheet.Build, j sheet.Joint, st sheet.Step)) {
	for _, e := range s.Engines {
		for _, b := range e.Builds {
			for _, j := range b.Joints {
				for _, st := range j.Steps {
					if st.Fastener == s.Fastener && len(st.Marks) > 0 {
						visit(b, j, st)
					}
				}
			}
		}
	}
}

// Stand says, in a unit (empty: N·m), where the newest reading of each of the fastener's steps lies among those of its step.
func (s *Story) Stand(h *store.History, among map[store.Step]*store.Pulled, in unit.TorqueUnit) {
	readings := map[uint64]*store.ReadingHistory{}
	for _, b := range h.Builds {
		for i := range b.Runs {
			for k := range b.Runs[i].Readings {
				readings[b.Runs[i].Readings[k].Seq] = &b.Runs[i].Readings[k]
			}
		}
	}
	s.eachStep(func(b sheet.Build, j sheet.Joint, st sheet.Step) {
		last := st.Marks[len(st.Marks)-1].Reading
		p, r := among[store.Step{Family: b.Family, Joint: s.Joint, Stage: st.Stage, Fastener: st.Fastener}], readings[last]
		if p == nil || r == nil {
			return
		}
		at := Standing{Build: b.Build, Run: j.Run, Reading: last, Stage: st.Stage, All: p.All, Sampled: p.Sampled}
		s.Standings = append(s.Standings, at.torque(p.Torques, r, in))
		if r.Angle != nil && len(p.Angles) > 0 {
			s.Standings = append(s.Standings, at.among("angle", numbers(p.Angles), int64(*r.Angle), int64(unit.Degree), "°", r.Angle.String()))
		}
	})
}

// torque holds the torque of a reading at the fastener against the others, in millionths of a unit.
func (s Standing) torque(all []unit.Torque, r *store.ReadingHistory, in unit.TorqueUnit) Standing {
	in = cmp.Or(in, unit.Nm)
	values := make([]int64, len(all))
	for i, t := range all {
		values[i] = millionths(t, in)
	}
	own := bench.AtFastener(&r.Marks[len(r.Marks)-1].Mark, &r.Reading)
	text := own.String()
	if in != unit.Nm {
		text = own.In(in, 1) + " " + string(in)
	}
	return s.among("torque", values, millionths(own, in), 1_000_000, string(in), text)
}

func millionths(t unit.Torque, in unit.TorqueUnit) int64 {
	n, err := strconv.ParseInt(strings.Replace(t.In(in, 6), ".", "", 1), 10, 64)
	if err != nil { // it is decimal digits, always
		panic(err)
	}
	return n
}

func (s Standing) among(what string, values []int64, own, one int64, unit, text string) Standing {
	s.What, s.Value, s.Of, s.TooFew = what, text, len(values), len(values) < LeastCompared
	if !s.TooFew {
		s.Rank = standing.Rank(values, own)
	}
	s.Picture = draw(standing.Spread(values, own, bins), own, one, unit)
	return s
}

func numbers[T ~int64](in []T) []int64 {
	out := make([]int64, len(in))
	for i, v := range in {
		out[i] = int64(v)
	}
	return out
}
