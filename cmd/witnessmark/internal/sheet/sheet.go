// Package sheet lays out what is recorded of an engine: every step of every joint with the readings that belong to it,
// what belongs to no step, and what a person should look at.
package sheet

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/audit/procedure"
	"witnessmark/audit/recall"
	"witnessmark/device"
	"witnessmark/device/unit"
	"witnessmark/store"
)

// Engine is everything recorded of an engine, the oldest build first. Its JSON is an interface: fields are only added.
type Engine struct {
	Engine string  `json:"engine"`
	Builds []Build `json:"builds"`
}

// Build is one rebuild under one work order.
type Build struct {
	WorkOrder string    `json:"work_order"`
	Build     uint64    `json:"build"`
	Unit      string    `json:"unit,omitempty"`
	Family    string    `json:"family"`
	Revision  string    `json:"revision"`
	By        string    `json:"by"` // empty: the name was blanked
	At        time.Time `json:"at"`
	Joints    []Joint   `json:"joints"`
	Said
}

// Of lays out a history. Torques are in the given unit, or as the wrench wrote them where it is empty.
func Of(h *store.History, in unit.TorqueUnit) (*Engine, error) {
	e := &Engine{Engine: h.Engine, Builds: []Build{}}
	doubts, err := h.Doubts()
	if err != nil {
		return nil, err
	}
	lives := bench.Lives{}
	for _, b := range h.Builds {
		p, err := procedure.Parse(b.Family+" revision "+b.Revision, []byte(b.Procedure))
		if err != nil {
			return nil, fmt.Errorf("read the procedure of build %d: %w", b.ID, err)
		}
		out := Build{WorkOrder: b.WorkOrder, Build: b.ID, Unit: b.Unit, Family: b.Family, Revision: b.Revision,
			By: b.Technician, At: b.At, Joints: []Joint{}}
		for _, a := range attempts(b.Runs) {
			j, ok := p.Joint(a.Joint)
			if !ok {
				return nil, fmt.Errorf("build %d has a joint %q that its procedure does not have: run witnessmark verify", b.ID, a.Joint)
			}
			before := lives.Before(h.Engine, b.ID, a.Afresh, p, j)
			bolts := bench.Bolts(p, j, before, a.InForce(), a.renewals())
			lives.Keep(h.Engine, b.ID, p, j, bolts)
			out.Joints = append(out.Joints, joint(a, p, j, bolts, in, doubts))
		}
		out.Said = said(&b)
		for i := range out.Joints {
			out.Joints[i].stand(out.Standing)
		}
		e.Builds = append(e.Builds, out)
	}
	return e, nil
}

func joint(r *attempt, p *procedure.Procedure, j *procedure.Joint, bolts []bench.Bolt, in unit.TorqueUnit, doubts map[string][]recall.Doubt) Joint {
	out := Joint{Joint: j.ID, Title: j.Title, Run: r.ID, Bench: r.Bench, By: r.Technician, Started: r.Started, Closed: r.Closed,
		Earlier: r.earlier, Runs: r.runs, Complete: true, Steps: []Step{}, Checks: []Check{}, Stray: []Mark{}, Scans: []Scan{}, Findings: []string{}}
	byReading := map[uint64]Mark{}
	for i := range r.Readings {
		if m, ok := mark(&r.Readings[i], in); ok {
			m.By = r.by(&r.Readings[i])
			if recall.Of(doubts[m.Wrench], m.At) != nil {
				m.Flags = append(slices.Clip(m.Flags), audit.FoundBad)
			}
			byReading[m.Reading] = m
		}
	}
	estimate(r, p, j, byReading)
	used := map[uint64]bool{}
	targets := j.Sequence()
	steps := bench.Steps(j, r.InForce(), r.renewals())
	out.Order = orders(j, steps, byReading)
	for i, s := range steps {
		st := Step{Stage: s.Stage, Fastener: s.Fastener, Target: inWords(targets[i].Figures, in), State: string(s.State), Marks: []Mark{}}
		for _, m := range s.Marks {
			used[m.Reading] = true
			st.Marks = append(st.Marks, byReading[m.Reading])
		}
		for _, m := range s.Replaced {
			used[m.Reading] = true
			st.Replaced = append(st.Replaced, byReading[m.Reading])
		}
		out.Steps = append(out.Steps, st)
	}
	for _, rd := range r.Readings {
		if m, ok := byReading[rd.Seq]; ok && !used[rd.Seq] && rd.Marks[len(rd.Marks)-1].CheckID == "" {
			out.Stray = append(out.Stray, m)
		}
	}
	out.Checks = checks(&r.RunHistory, j)
	out.Bolts = counted(j, out.Checks, len(r.Renewals))
	for _, l := range r.Scans {
		out.Scans = append(out.Scans, Scan{l.Value, l.Person, l.At, l.Index})
	}
	for _, b := range r.Renewals {
		out.Renewals = append(out.Renewals, Renewal{b.Fastener, b.Reason, b.Person, b.At, b.Index})
	}
	out.Hands = r.changes()
	for _, k := range r.RunHistory.Clock {
		out.Clock = append(out.Clock, Clock{k.By.Milliseconds(), k.AtLeast, k.At, k.Index})
	}
	out.words(r.RunHistory.Named)
	out.find(j, steps, bolts)
	out.suspect(steps, doubts)
	return out
}

func mark(r *store.ReadingHistory, in unit.TorqueUnit) (Mark, bool) {
	if len(r.Marks) == 0 {
		return Mark{}, false
	}
	last := r.Marks[len(r.Marks)-1]
	m := Mark{Reading: r.Seq, Direction: string(r.Direction), Verdict: last.Verdict, Flags: last.Flags, Wrench: r.Wrench, At: r.At,
		LocatedBy: last.LocatedBy, Confidence: share(last.Confidence), LedgerIndex: last.Index, sure: last.Confidence}
	m.Torque, m.Unit = torque(&r.Reading, in)
	if last.Adapter != "" {
		m.Adapter, m.Applied = last.Adapter, applied(&last.Mark, &r.Reading, m.Unit)
	}
	if r.Angle != nil {
		a := json.Number(strings.TrimSuffix(r.Angle.String(), "°"))
		m.Angle = &a
	}
	for _, b := range r.Marks[:len(r.Marks)-1] {
		m.Before = append(m.Before, Earlier{b.Stage, b.Fastener, b.CheckID, b.Verdict, b.Flags, b.LocatedBy, b.At, b.Index})
	}
	return m, true
}

// torque is the wrench's own number, or the torque in another unit with one decimal more than the wrench wrote. Some
// wrenches fill up with zeros in front, which JSON does not know as a number.
func torque(r *device.Reading, in unit.TorqueUnit) (json.Number, unit.TorqueUnit) {
	_, fraction, _ := strings.Cut(r.TorqueText, ".")
	switch {
	case in != "" && in != r.Unit:
		return json.Number(r.Torque.In(in, len(fraction)+1)), in
	case !json.Valid([]byte(r.TorqueText)):
		return json.Number(r.Torque.In(r.Unit, len(fraction))), r.Unit
	}
	return json.Number(r.TorqueText), r.Unit
}

// applied is the torque at the fastener, with one decimal more than the wrench wrote.
func applied(m *audit.Mark, r *device.Reading, in unit.TorqueUnit) json.Number {
	_, fraction, _ := strings.Cut(r.TorqueText, ".")
	return json.Number(unit.Torque(m.Applied).In(in, len(fraction)+1))
}

func share(s audit.Share) json.Number {
	return json.Number(s.Decimal())
}

// inWords is what a step asks for, in the unit that is asked for here, else in that of the procedure.
func inWords(f procedure.Figures, in unit.TorqueUnit) string {
	if in != "" {
		f.Unit = in
	}
	return f.Target()
}
