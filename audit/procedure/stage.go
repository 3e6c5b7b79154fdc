package procedure

import (
	"slices"

	"witnessmark/device/strictyaml"
	"witnessmark/device/unit"
)

var actions = []string{string(TightenTo), string(TurnBy), string(LoosenBy), string(Verify)}

// monitor is the key of the window that is watched beside the target.
func (a Action) monitor() string {
	if a == TightenTo {
		return "angle"
	}
	return "torque"
}

// written is the figures of a stage as nodes of the file, before they are numbers: an override replaces some of them,
// and a relative tolerance then counts from the new target.
type written struct {
	action                  Action // empty: the stage is at fault
	target, accept, monitor strictyaml.Node
	total                   strictyaml.Node
	hasAccept, hasMonitor   bool
	hasTotal                bool
	blame                   strictyaml.Node // where a target outside its window is told
}

// writtenIn collects the figures of a stage, or of an override of one with the same action.
func writtenIn(m strictyaml.Map, action Action) written {
	w := written{action: action}
	w.target, _ = m.Get(string(action))
	w.accept, w.hasAccept = m.Get("accept")
	w.monitor, w.hasMonitor = m.Get(action.monitor())
	w.total, w.hasTotal = m.Get("total")
	w.blame = w.target
	return w
}

// overlaid is the stage's figures with those of the override on top.
func (w written) overlaid(m strictyaml.Map) written {
	if n, ok := m.Get("accept"); ok {
		w.accept, w.blame = n, n
	}
	if n, ok := m.Get(string(w.action)); ok {
		w.target, w.blame = n, n
	}
	if n, ok := m.Get(w.action.monitor()); ok {
		w.monitor, w.hasMonitor = n, true
	}
	if n, ok := m.Get("total"); ok {
		w.total, w.hasTotal = n, true
	}
	return w
}

// figures turns nodes into numbers.
func (w written) figures() (Figures, bool) {
	f := Figures{Action: w.action}
	if w.action == Verify {
		return w.verified(f)
	}
	controlled, watched := &torques, &angles
	if w.action != TightenTo {
		controlled, watched = watched, controlled
	}
	target, ok := controlled.target(w.target)
	if !ok || !w.hasAccept {
		return f, false
	}
	accept, ok := controlled.around(w.accept, target)
	if ok && (target < accept.low || target > accept.high) {
		w.blame.Faultf("found the target %s, expected it inside what is accepted, %s to %s", controlled.write(target),
			controlled.write(accept.low), controlled.write(accept.high))
		ok = false
	}
	var monitor window
	if w.hasMonitor {
		var read bool
		monitor, read = watched.within(w.monitor)
		ok = ok && read
	}
	if w.action == TightenTo {
		f.Torque, f.Unit = unit.Torque(target), torqueUnit(w.target)
		f.Torques, f.Angles = torqueWindow(accept, true), angleWindow(monitor, w.hasMonitor)
	} else {
		f.Angle = unit.Angle(target)
		f.Angles, f.Torques = angleWindow(accept, true), torqueWindow(monitor, w.hasMonitor)
	}
	if w.hasTotal {
		total, read := angles.within(w.total)
		f.Total, ok = angleWindow(total, true), ok && read
	}
	return f, ok
}

// verified is the figures of a verification: the window in which the fastener should move on.
func (w written) verified(f Figures) (Figures, bool) {
	accept, ok := torques.within(w.target)
	f.Torques, f.Unit = torqueWindow(accept, true), torqueUnit(w.target)
	f.Torque = (f.Torques.Low + f.Torques.High) / 2
	return f, ok
}

// keys are what an override may state of a stage with this action.
func (a Action) keys() []string {
	switch a {
	case Verify:
		return []string{string(Verify)}
	case TurnBy:
		return []string{string(a), "accept", a.monitor(), "total"}
	}
	return []string{string(a), "accept", a.monitor()}
}

func torqueUnit(n strictyaml.Node) unit.TorqueUnit {
	s, _ := n.Text()
	_, u, _ := unit.ParseTorque(s)
	return u
}

func torqueWindow(w window, set bool) TorqueWindow {
	return TorqueWindow{Low: unit.Torque(w.low), High: unit.Torque(w.high), Set: set}
}

func angleWindow(w window, set bool) AngleWindow {
	return AngleWindow{Low: unit.Angle(w.low), High: unit.Angle(w.high), Set: set}
}

// readStages reads the stages; the written figures of each are kept for the overrides.
func (j *jointReader) readStages(n strictyaml.Node) {
	for _, item := range list(n, "stage", maxStages) {
		m := item.Map("id", string(TightenTo), string(TurnBy), string(LoosenBy), string(Verify), "accept", "angle", "torque", "total", "only", "order", "adapter")
		s := Stage{ID: j.stages.take(need(m, "id"), "stage")}
		w := written{}
		if action, ok := theAction(m); ok {
			if action != Verify {
				need(m, "accept")
			}
			w = writtenIn(m, action)
			misplaced(m, action)
			if s.Figures, ok = w.figures(); !ok {
				w.action = ""
			}
		}
		if only, ok := m.Get("only"); ok {
			s.Only = j.indices(only, "only")
			slices.Sort(s.Only)
		}
		if order, ok := m.Get("order"); ok {
			if j.joint.Round == RoundFastener {
				order.Faultf("found an order of a stage, expected none: with round fastener each fastener goes through all stages in turn")
			}
			s.Order = j.order(order, s.Only)
		}
		if a, ok := m.Get("adapter"); ok {
			s.Adapter, _ = a.Text()
			if _, known := j.adapters[s.Adapter]; !known && s.Adapter != "" {
				a.Faultf("found the adapter %s, expected one listed under adapters", quote(s.Adapter))
			}
		}
		j.joint.Stages = append(j.joint.Stages, s)
		j.written = append(j.written, w)
	}
}

// theAction finds the one action of a stage.
func theAction(m strictyaml.Map) (Action, bool) {
	var found Action
	for _, a := range actions {
		if _, ok := m.Get(a); !ok {
			continue
		}
		if found != "" {
			key, _ := m.Key(a)
			key.Faultf("found %s beside %s, expected one of them: make two stages of it", a, found)
			return "", false
		}
		found = Action(a)
	}
	if found == "" && len(m.Keys()) > 0 {
		m.Node().Faultf("found a stage that does nothing, expected %s", choice(actions))
	}
	return found, found != ""
}

// misplaced faults what has no meaning for an action: a second window for the quantity that accept bounds already, and
// windows that belong to another action.
func misplaced(m strictyaml.Map, a Action) {
	if a == Verify {
		for _, k := range []string{"accept", "angle", "torque"} {
			if key, ok := m.Key(k); ok {
				key.Faultf("found %s beside %s, expected none: verify states its window itself, such as verify: 57..70 N·m", k, a)
			}
		}
	} else if key, ok := m.Key(a.controlled()); ok {
		key.Faultf("found %s beside %s, expected %s: accept bounds the %s already, the window beside it is for the %s",
			a.controlled(), a, a.monitor(), a.controlled(), a.monitor())
	}
	if key, ok := m.Key("total"); ok && a != TurnBy {
		key.Faultf("found total beside %s, expected it beside %s: it bounds all turns of a fastener together", a, TurnBy)
	}
}

// controlled is what accept bounds.
func (a Action) controlled() string {
	if a == TightenTo {
		return "torque"
	}
	return "angle"
}
