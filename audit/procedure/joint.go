package procedure

import (
	"slices"

	"witnessmark/audit/adapter"
	"witnessmark/device/strictyaml"
)

// jointReader reads one joint; later parts of it refer to earlier ones.
type jointReader struct {
	joint     Joint
	types     map[string]FastenerType
	adapters  map[string]adapter.Adapter
	fasteners names
	stages    names
	written   []written // by stage
	overrides map[int]strictyaml.Node
}

func readJoint(n strictyaml.Node, ids names, p *Procedure) Joint {
	m := n.Map("id", "title", "criticality", "round", "order", "fasteners", "prevailing", "checks", "stages")
	j := &jointReader{types: p.Types, adapters: p.Adapters, fasteners: names{}, stages: names{}, overrides: map[int]strictyaml.Node{}}
	j.joint = Joint{
		ID:          ids.take(need(m, "id"), "joint"),
		Title:       line(need(m, "title")),
		Criticality: Criticality(oneOf(need(m, "criticality"), string(ClassA), string(ClassB), string(ClassC))),
		Round:       Round(oneOf(need(m, "round"), string(RoundStage), string(RoundFastener))),
	}
	j.readFasteners(need(m, "fasteners"))
	j.joint.Order = j.order(need(m, "order"), nil)
	stages := need(m, "stages")
	j.readStages(stages)
	for i := range j.joint.Fasteners {
		if o, ok := j.overrides[i]; ok {
			j.override(i, o)
		}
	}
	j.sound(stages)
	if checks, ok := m.Get("checks"); ok {
		j.readChecks(checks)
	}
	if prevailing, ok := m.Get("prevailing"); ok {
		j.prevailing(prevailing)
	}
	return j.joint
}

func (j *jointReader) readFasteners(n strictyaml.Node) {
	for _, item := range list(n, "fastener", maxFasteners) {
		m := item.Map("id", "at", "type", "stages")
		f := Fastener{ID: j.fasteners.take(need(m, "id"), "fastener of the joint")}
		if at, ok := m.Get("at"); ok {
			j.place(&f, at)
		}
		if t, ok := m.Get("type"); ok {
			f.Type, _ = t.Text()
			if _, known := j.types[f.Type]; !known && f.Type != "" {
				t.Faultf("found the fastener type %s, expected one listed under fastener_types", quote(f.Type))
			}
		}
		if o, ok := m.Get("stages"); ok {
			j.overrides[len(j.joint.Fasteners)] = o
		}
		if j.types[f.Type].Once() {
			j.joint.Due++
		}
		j.joint.Fasteners = append(j.joint.Fasteners, f)
	}
}

// place reads the coordinates; two bolts do not share a hole.
func (j *jointReader) place(f *Fastener, at strictyaml.Node) {
	xy, ok := at.List()
	if !ok {
		return
	}
	if len(xy) != 2 {
		at.Faultf("found %d coordinates, expected two in millimetres, such as [80, 0]", len(xy))
		return
	}
	x, okX := coordinate(xy[0])
	y, okY := coordinate(xy[1])
	f.X, f.Y, f.Placed = x, y, okX && okY
	if !f.Placed {
		return
	}
	for _, g := range j.joint.Fasteners {
		if g.Placed && g.X == f.X && g.Y == f.Y {
			at.Faultf("found the place of fastener %s again, expected one of its own", g.ID)
			return
		}
	}
}

// override resolves the figures that a fastener states for some of the stages.
func (j *jointReader) override(fastener int, n strictyaml.Node) {
	m := n.FreeMap()
	f := &j.joint.Fasteners[fastener]
	f.Figures = map[string]Figures{}
	for _, id := range m.Keys() {
		key, _ := m.Key(id)
		stage, known := j.stages[id]
		if !known {
			key.Faultf("found the stage %s, expected one of this joint", quote(id))
			continue
		}
		if only := j.joint.Stages[stage].Only; only != nil && !slices.Contains(only, fastener) {
			key.Faultf("found figures for stage %s, expected none: it covers only other fasteners", id)
			continue
		}
		w := j.written[stage]
		if w.action == "" { // the stage itself is at fault, which is told there
			continue
		}
		v, _ := m.Get(id)
		over := v.Map(w.action.keys()...)
		if figures, ok := w.overlaid(over).figures(); ok {
			f.Figures[id] = figures
		}
	}
}

// sound checks what can be seen only of the joint as a whole.
func (j *jointReader) sound(stages strictyaml.Node) {
	items, _ := stages.List()
	if len(items) != len(j.joint.Stages) || len(items) == 0 {
		return
	}
	covered, seated := make([]bool, len(j.joint.Fasteners)), make([]bool, len(j.joint.Fasteners))
	for i := range j.joint.Stages {
		s := &j.joint.Stages[i]
		told := false
		for f := range j.joint.Fasteners {
			if !s.covers(f) {
				continue
			}
			covered[f] = true
			seated[f] = seated[f] || s.Action == TightenTo || j.written[i].action == ""
			if (s.Action == TurnBy || s.Action == Verify) && !seated[f] && !told {
				told = true
				items[i].Faultf("found %s with no %s before it for fastener %s, expected a torque to go on from", s.Action, TightenTo, j.joint.Fasteners[f].ID)
			}
		}
	}
	if f := slices.Index(covered, false); f >= 0 {
		stages.Faultf("found no stage for fastener %s, expected every fastener in at least one", j.joint.Fasteners[f].ID)
	}
}
