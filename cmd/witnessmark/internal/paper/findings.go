package paper

import (
	"fmt"
	"slices"
	"strings"

	"witnessmark/audit"
)

// toLookAt is what a person should look at, as where and what: first what keeps a joint from being complete, then readings
// with flags, those alike together.
func (d *document) toLookAt() [][2]string {
	var all [][2]string
	for i := range d.joints {
		j := &d.joints[i]
		if j.words == nil {
			all = append(all, [2]string{j.plan.Title, "was never begun"})
			continue
		}
		for _, what := range append(slices.Clone(j.words.OfJoint), j.flagged()...) {
			all = append(all, [2]string{d.title(j), what})
		}
	}
	return all
}

// flagged says of every stage which flags that ask for an eye its readings have, and of which fasteners they are.
func (j *joint) flagged() []string {
	var all []string
	for _, c := range j.words.Checks {
		if odd := oddities(c.Flags, ""); len(odd) > 0 {
			all = append(all, fmt.Sprintf("check %s, %s: reading %d", c.Check, strings.Join(odd, ", "), c.Reading))
		}
	}
	for _, st := range j.stages {
		all = append(all, grouped("stage "+st.plan.ID, "fastener ", st.pulls, func(p *pull) string { return p.fastener })...)
	}
	return append(all, grouped("no step", "reading ", j.stray, func(p *pull) string { return fmt.Sprint(p.words.Reading) })...)
}

func grouped(where, what string, pulls []pull, id func(*pull) string) []string {
	var heads []string
	ids := map[string][]string{}
	for i := range pulls {
		odd := oddities(pulls[i].mark.Flags, pulls[i].mark.LocatedBy)
		if len(odd) == 0 {
			continue
		}
		head := strings.Join(odd, ", ")
		if ids[head] == nil {
			heads = append(heads, head)
		}
		if one := id(&pulls[i]); !slices.Contains(ids[head], one) {
			ids[head] = append(ids[head], one)
		}
	}
	for i, h := range heads {
		heads[i] = where + ", " + h + ": " + what + strings.Join(ids[h], ", ")
	}
	return heads
}

// oddities are the flags that ask for an eye. A person's word on a reading explains that it was unexpected or unsure, as it
// does in the review before a release.
func oddities(flags []string, by audit.LocatedBy) []string {
	return slices.DeleteFunc(slices.Clone(flags), func(f string) bool {
		explained := by == audit.ByPerson && (f == audit.Unexpected || f == audit.Unsure)
		return f == audit.Conditional || f == audit.Resent || explained
	})
}
