package paper

import (
	"fmt"
	"slices"
	"strings"

	"witnessmark/cmd/witnessmark/internal/worked"
)

// toLookAt is what a person should look at, as where and what: first what keeps a joint from being complete, then readings
// with flags, those alike together.
func (d *document) toLookAt() [][2]string {
	var all [][2]string
	for i := range d.joints {
		j := &d.joints[i]
		if j.Words == nil {
			all = append(all, [2]string{j.Plan.Title, "was never begun"})
			continue
		}
		for _, what := range append(slices.Clone(j.Words.OfJoint), j.flagged()...) {
			all = append(all, [2]string{d.title(j), what})
		}
	}
	return all
}

// flagged says of every stage which flags that ask for an eye its readings have, and of which fasteners they are.
func (j *joint) flagged() []string {
	var all []string
	for i := range j.Words.Checks {
		c := &j.Words.Checks[i]
		if odd := c.Odd(); len(odd) > 0 {
			all = append(all, fmt.Sprintf("check %s, %s: reading %d", c.Check, strings.Join(odd, ", "), c.Reading))
		}
	}
	for _, st := range j.Stages {
		all = append(all, grouped("stage "+st.Plan.ID, "fastener ", st.Pulls, func(p *worked.Pull) string { return p.Fastener })...)
	}
	return append(all, grouped("no step", "reading ", j.Stray, func(p *worked.Pull) string { return fmt.Sprint(p.Words.Reading) })...)
}

func grouped(where, what string, pulls []worked.Pull, id func(*worked.Pull) string) []string {
	var heads []string
	ids := map[string][]string{}
	for i := range pulls {
		odd := pulls[i].Mark.Odd()
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
