package sheet

import (
	"fmt"
	"io"

	"witnessmark/audit/bench"
	"witnessmark/audit/procedure"
	"witnessmark/device/unit"
)

// Preload is what the fastener is estimated to clamp with after a reading, in N. It is for information: friction, which
// nobody measures, makes it an interval, and no verdict rests on it.
type Preload struct {
	Low       int64  `json:"low"`
	High      int64  `json:"high"`
	ProofLoad int64  `json:"proof_load,omitempty"` // left out: the procedure does not tell the bolt's class
	Yields    bool   `json:"yields,omitempty"`     // may be at or beyond yield, where the interval holds no longer
	Estimate  string `json:"estimate"`             // in words
}

// estimate adds the preloads to the readings of a run, by reading.
func estimate(r *attempt, p *procedure.Procedure, j *procedure.Joint, marks map[uint64]Mark) {
	clamps, drag := bench.NewClamps(p, j, r.renewals()), drags(r, j)
	for i := range r.Readings {
		rd := &r.Readings[i]
		if len(rd.Marks) == 0 {
			continue
		}
		last := &rd.Marks[len(rd.Marks)-1].Mark
		if c, known := clamps.Pull(last, &rd.Reading, drag[last.Fastener]); known {
			m := marks[rd.Seq]
			m.Preload = &Preload{c.Low, c.High, c.ProofLoad, c.Yields(), c.String()}
			marks[rd.Seq] = m
		}
	}
}

// drags is what each fastener takes to run down, by the newest answer to the check that asks for it, given of the bolt that is
// there.
func drags(r *attempt, j *procedure.Joint) map[string]unit.Torque {
	all, newest := map[string]unit.Torque{}, map[string]int64{}
	for _, b := range r.Renewals {
		newest[b.Fastener] = b.Index
	}
	tell := func(check, fastener string, index int64, t unit.Torque) {
		if j.Prevailing != "" && check == j.Prevailing && index >= newest[fastener] {
			all[fastener], newest[fastener] = t, index
		}
	}
	for i := range r.Answers {
		a := &r.Answers[i]
		if t, _, err := unit.ParseTorque(a.Value); err == nil {
			tell(a.Check, a.Fastener, a.Index, t)
		}
	}
	for i := range r.Readings {
		rd := &r.Readings[i]
		if n := len(rd.Marks); n > 0 {
			m := &rd.Marks[n-1].Mark
			tell(m.CheckID, m.Fastener, rd.Index, bench.AtFastener(m, &rd.Reading))
		}
	}
	return all
}

// preloads is the newest estimate of each fastener.
func (p *printer) preloads(steps []Step) {
	newest, order := map[string]Mark{}, []string{}
	for _, s := range steps {
		for _, m := range s.Marks {
			if m.Preload == nil {
				continue
			}
			before, known := newest[s.Fastener]
			if !known {
				order = append(order, s.Fastener)
			}
			if m.Reading >= before.Reading {
				newest[s.Fastener] = m
			}
		}
	}
	if len(order) > 0 {
		p.line("    Preload, estimated for information alone:")
	}
	p.table(func(t io.Writer) {
		for _, f := range order {
			fmt.Fprintf(t, "    fastener %s\t%s\t#%d\n", f, newest[f].Preload.Estimate, newest[f].Reading)
		}
	})
}
