// Package affected lists the engines that a bad wrench, bolt lot, procedure revision or bench has touched.
package affected

import (
	"context"
	"fmt"
	"slices"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/judge"
	"witnessmark/audit/procedure"
	"witnessmark/audit/recall"
	"witnessmark/device/unit"
	"witnessmark/store"
)

// Wrench is what a wrench has touched. Its JSON is an interface: fields are only added.
type Wrench struct {
	Wrench string `json:"wrench"`
	// Since and Until bound the readings in doubt, both included; null: since ever, until now.
	Since *time.Time `json:"since"`
	Until *time.Time `json:"until"`
	Why   string     `json:"why"`             // the span, in words
	Found string     `json:"found,omitempty"` // deviations that the readings are judged again with; empty: none are known
	Taken int        `json:"readings"`
	Turn  int        `json:"would_turn"`
	// NotJudged are readings that belong to no step, or whose step the procedure does not have.
	NotJudged int      `json:"not_judged_again"`
	Builds    []*Build `json:"builds"`
}

// Build is one that a wrench has touched.
type Build struct {
	Build     uint64    `json:"build"` // 0: readings that belong to none
	Engine    string    `json:"engine"`
	WorkOrder string    `json:"work_order"`
	Unit      string    `json:"unit,omitempty"`
	Readings  int       `json:"readings"`
	First     time.Time `json:"first"`
	Last      time.Time `json:"last"`
	Turned    []Turned  `json:"would_turn"`
}

// Turned is a reading whose verdict would be another one.
type Turned struct {
	Reading  uint64        `json:"reading"`
	At       time.Time     `json:"at"`
	Joint    string        `json:"joint"`
	Stage    string        `json:"stage"`
	Fastener string        `json:"fastener"`
	Shown    unit.Torque   `json:"shown"` // N·m, at the fastener
	Was      unit.Torque   `json:"was"`   // N·m that it was if the wrench was as it was found
	Verdict  audit.Verdict `json:"verdict"`
	Now      audit.Verdict `json:"would_be"`
}

// OfWrench lists what a wrench has touched in a span of time; found is nil where no deviation is known.
func OfWrench(ctx context.Context, r *store.Reader, wrench string, span recall.Span, found recall.AsFound) (*Wrench, error) {
	out := &Wrench{Wrench: wrench, Builds: []*Build{}}
	j := &judging{found: found, builds: map[uint64]*Build{}, out: out}
	if found != nil {
		out.Found = found.String()
		if err := j.prepare(ctx, r, wrench); err != nil {
			return nil, err
		}
	}
	return out, r.PullsOf(ctx, wrench, span, j.take)
}

// judging goes through the readings of a wrench.
type judging struct {
	found    recall.AsFound
	declared map[uint64]audit.WrenchDeclared      // by entry
	sheets   map[[2]string]*procedure.Procedure   // by family and revision
	drags    map[string]map[store.AnswerOf]string // what fasteners took to run down, by check
	builds   map[uint64]*Build
	out      *Wrench
}

// prepare reads what the readings are judged by.
func (j *judging) prepare(ctx context.Context, r *store.Reader, wrench string) (err error) {
	if j.declared, err = r.Declared(ctx, wrench); err != nil {
		return err
	}
	texts, err := r.Procedures(ctx)
	if err != nil {
		return err
	}
	j.sheets, j.drags = map[[2]string]*procedure.Procedure{}, map[string]map[store.AnswerOf]string{}
	for of, text := range texts {
		p, err := procedure.Parse(of[0]+" revision "+of[1], []byte(text))
		if err != nil {
			return fmt.Errorf("read a procedure: %w", err)
		}
		j.sheets[of] = p
		for i := range p.Joints {
			check := p.Joints[i].Prevailing
			if check == "" || j.drags[check] != nil {
				continue
			}
			if j.drags[check], err = r.Answers(ctx, check); err != nil {
				return err
			}
		}
	}
	return nil
}

func (j *judging) take(p *store.Pull) error {
	b := j.builds[p.Ref.Build]
	if b == nil {
		b = &Build{Build: p.Ref.Build, Engine: p.Engine, WorkOrder: p.WorkOrder, Unit: p.Unit, First: p.At, Turned: []Turned{}}
		j.builds[p.Ref.Build] = b
		j.out.Builds = append(j.out.Builds, b)
	}
	b.Readings++
	b.Last = p.At
	j.out.Taken++
	if j.found == nil {
		return nil
	}
	pull, ok := j.pull(p)
	if !ok {
		j.out.NotJudged++
		return nil
	}
	was, now := recall.Again(pull, j.found)
	if now != p.Verdict {
		j.out.Turn++
		shown := pull.Reading.Torque
		if p.Applied != 0 {
			shown = unit.Torque(p.Applied)
		}
		b.Turned = append(b.Turned, Turned{p.Mark.Reading, p.At, p.Joint, p.Stage, p.Fastener, shown, was, p.Verdict, now})
	}
	return nil
}

// pull is a reading with what its step asks for; false where it belongs to no step.
func (j *judging) pull(p *store.Pull) (recall.Pull, bool) {
	sheet := j.sheets[[2]string{p.Mark.Family, p.Mark.Revision}]
	if sheet == nil || p.Stage == "" {
		return recall.Pull{}, false
	}
	joint, ok := sheet.Joint(p.Joint)
	if !ok {
		return recall.Pull{}, false
	}
	stage := slices.IndexFunc(joint.Stages, func(s procedure.Stage) bool { return s.ID == p.Stage })
	fastener := slices.IndexFunc(joint.Fasteners, func(f procedure.Fastener) bool { return f.ID == p.Fastener })
	f, ok := joint.Figures(stage, fastener)
	if !ok {
		return recall.Pull{}, false
	}
	if answer, told := j.drags[joint.Prevailing][store.AnswerOf{Run: p.Run, Fastener: p.Fastener}]; told {
		if drag, _, err := unit.ParseTorque(answer); err == nil {
			f.Torques.Low, f.Torques.High = f.Torques.Low+drag, f.Torques.High+drag
		}
	}
	out := recall.Pull{Figures: f, Reading: p.ReadingTaken.Reading, Mark: p.Mark}
	if sheet.Decision == procedure.Guarded {
		out.Guard, _ = judge.Uncertain(j.declared[p.Calibration], p.Torque)
	}
	return out, true
}
